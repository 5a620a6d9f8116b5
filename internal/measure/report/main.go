// Command report owns how `make test` shows the outcome of `go test -json`: one
// line for each package, what a test printed only where it failed, and a file
// with every check against a published source, one line each. Go keeps that
// outcome with what passed, so that the checks of a package that need not be
// tested again are counted too.
//
//	go test -json ./... | report -checks FILE
package main

import (
	"bufio"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"
)

// checkAttr is the attribute by which a test names the source of a check:
// checkedtest.Attr.
const checkAttr = "check"

// event is a line of `go test -json` (`go doc cmd/test2json`), or of what a
// build prints beside it (`go help buildjson`).
type event struct {
	Action, Package, Test, Output string
	ImportPath                    string // of what is built
	Key, Value                    string // of an attribute
}

func main() {
	name := flag.String("checks", "", "file to which the source of every check is appended")
	flag.Parse()
	if err := run(os.Stdin, os.Stdout, *name); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
}

func run(in io.Reader, out io.Writer, name string) error {
	checks := io.Discard
	if name != "" {
		f, err := os.OpenFile(name, os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
		if err != nil {
			return fmt.Errorf("the file of checks: %w", err)
		}
		defer f.Close()
		checks = f
	}
	return report(in, out, checks)
}

// report reads events until they end. What is no event, such as a complaint of
// the go command, is printed as it is.
func report(in io.Reader, out, checks io.Writer) error {
	r := reporter{out: out, checks: checks, held: map[string]map[string]string{}}
	lines := bufio.NewReader(in)
	for {
		line, err := lines.ReadBytes('\n')
		if len(line) > 0 {
			if werr := r.take(line); werr != nil {
				return werr
			}
		}
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
	}
}

type reporter struct {
	out, checks io.Writer
	// held is what was printed and may not be of interest, by package and test:
	// "" is the package itself.
	held map[string]map[string]string
}

// take takes one line: what a test prints is held back until the test has ended.
func (r *reporter) take(line []byte) error {
	var e event
	if json.Unmarshal(line, &e) != nil {
		return r.print(string(line))
	}
	switch e.Action {
	case "build-output":
		return r.print(e.Output)
	case "attr":
		if e.Key == checkAttr {
			_, err := fmt.Fprintln(r.checks, e.Value)
			return err
		}
	case "output":
		// Marks of beginnings and pauses, and PASS before the line with "ok".
		if strings.HasPrefix(e.Output, "=== ") || e.Test == "" && e.Output == "PASS\n" {
			return nil
		}
		if r.held[e.Package] == nil {
			r.held[e.Package] = map[string]string{}
		}
		r.held[e.Package][e.Test] += e.Output
	case "pass", "skip", "fail":
		return r.end(e)
	}
	return nil
}

// end prints what a test that has failed printed, and the last lines of a
// package. A package that breaks off leaves tests without an end: what they
// printed may say why.
func (r *reporter) end(e event) error {
	held := r.held[e.Package]
	if e.Test != "" {
		text := held[e.Test]
		delete(held, e.Test)
		if e.Action != "fail" {
			return nil
		}
		return r.print(text)
	}
	delete(r.held, e.Package)
	last := held[""]
	delete(held, "")
	if e.Action == "fail" {
		for _, name := range slices.Sorted(maps.Keys(held)) {
			if err := r.print(held[name]); err != nil {
				return err
			}
		}
	}
	return r.print(last)
}

func (r *reporter) print(text string) error {
	_, err := io.WriteString(r.out, text)
	return err
}
