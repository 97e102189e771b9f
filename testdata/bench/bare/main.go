// Bare reads a CSV file with encoding/csv and does nothing with it: the least
// that a program on that reader can take. Usage: bare FILE
package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"os"
)

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "usage: bare FILE")
		os.Exit(2)
	}
	rows, err := count(os.Args[1])
	if err != nil {
		fmt.Fprintln(os.Stderr, "bare:", err)
		os.Exit(3)
	}
	fmt.Println(rows)
}

func count(name string) (rows int, err error) {
	f, err := os.Open(name)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.ReuseRecord = true
	for {
		switch _, err := r.Read(); err {
		case nil:
			rows++
		case io.EOF:
			return rows, nil
		default:
			return rows, err
		}
	}
}
