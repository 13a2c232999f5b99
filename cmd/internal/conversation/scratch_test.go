package conversation_test

import (
	"bufio"
	"context"
	"fmt"
	"os"
	"testing"

	"downdrop/rulebase"
)

func TestScratch(t *testing.T) {
	_, talk := smallTalk(t)
	if os.Getenv("SHIPPED") != "" {
		b, err := rulebase.LoadShipped()
		if err != nil {
			t.Fatal(err)
		}
		talk = talkOver(b)
	}
	s, r := talk.Begin(rulebase.Situation{})
	f, _ := os.Open("/tmp/dd/script.txt")
	sc := bufio.NewScanner(f)
	for sc.Scan() {
		fmt.Println(">", sc.Text())
		s, r = talk.Step(context.Background(), s, sc.Text())
		for _, l := range r.Lines() {
			fmt.Println(l)
		}
		fmt.Print(r.CaseText)
	}
}
