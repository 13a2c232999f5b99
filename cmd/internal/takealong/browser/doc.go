//go:build !js

// Elsewhere than in a browser this is nothing: see main.go.
package main

func main() {}
