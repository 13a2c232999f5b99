// Command hello is the least that a program with cobra does: the floor that the
// cold start of downdrop is measured against.
package main

import (
	"fmt"
	"os"

	"github.com/spf13/cobra"
)

func main() {
	root := &cobra.Command{Use: "hello", Run: func(*cobra.Command, []string) { fmt.Println("hello") }}
	if root.Execute() != nil {
		os.Exit(1)
	}
}
