// Hello is the least that a Go program can do, as a peer for start-up.
package main

import "fmt"

func main() { fmt.Println("hello") }
