package main

import (
	"strings"
	"testing"

	"dryslot/internal/checkedtest"
)

// events are what `go test -json` prints of one package that passes and one that
// fails, shortened.
const events = `{"Action":"start","Package":"a"}
{"Action":"run","Package":"a","Test":"TestOne"}
{"Action":"output","Package":"a","Test":"TestOne","Output":"=== RUN   TestOne\n"}
{"Action":"attr","Package":"a","Test":"TestOne","Key":"check","Value":"Menzel 1954"}
{"Action":"attr","Package":"a","Test":"TestOne","Key":"other","Value":"no source"}
{"Action":"attr","Package":"a","Test":"TestOne","Key":"check","Value":"common practice"}
{"Action":"pass","Package":"a","Test":"TestOne"}
{"Action":"output","Package":"a","Output":"PASS\n"}
{"Action":"output","Package":"a","Output":"ok  \ta\t(cached)\n"}
{"Action":"pass","Package":"a"}
{"ImportPath":"c","Action":"build-output","Output":"c.go:1: syntax error\n"}
{"Action":"output","Package":"b","Test":"TestGood","Output":"a line of the good one\n"}
{"Action":"output","Package":"b","Test":"TestBad","Output":"    bad_test.go:7: got 2\n"}
{"Action":"output","Package":"b","Test":"TestBad","Output":"--- FAIL: TestBad\n"}
{"Action":"pass","Package":"b","Test":"TestGood"}
{"Action":"fail","Package":"b","Test":"TestBad"}
{"Action":"output","Package":"b","Test":"TestEndless","Output":"panic: test timed out\n"}
{"Action":"output","Package":"b","Output":"FAIL\tb\t0.1s\n"}
{"Action":"fail","Package":"b"}
no packages to test
`

func TestOnlyWhatFailedIsPrinted(t *testing.T) {
	var out, checks strings.Builder
	if err := report(strings.NewReader(events), &out, &checks); err != nil {
		t.Fatal(err)
	}
	want := "ok  \ta\t(cached)\nc.go:1: syntax error\n" +
		"    bad_test.go:7: got 2\n--- FAIL: TestBad\npanic: test timed out\nFAIL\tb\t0.1s\nno packages to test\n"
	if out.String() != want {
		t.Errorf("printed %q, want %q", out.String(), want)
	}
	if got, want := checks.String(), "Menzel 1954\ncommon practice\n"; got != want {
		t.Errorf("counted %q, want %q", got, want)
	}
}

func TestTheAttributeIsThatOfTheChecks(t *testing.T) {
	if checkAttr != checkedtest.Attr {
		t.Errorf("checks are read from the attribute %q, and written to %q", checkAttr, checkedtest.Attr)
	}
}
