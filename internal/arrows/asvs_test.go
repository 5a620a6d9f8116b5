package arrows

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// Each row of the table of security points names tests, and all of them are there.
func TestTheSecurityTableNamesTestsThatThereAre(t *testing.T) {
	text, err := os.ReadFile("../../deploy/asvs.md")
	if err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("grep", "-rhoE", "--include=*_test.go", `^func Test[A-Za-z0-9]+\(`, "../..").Output()
	if err != nil {
		t.Fatalf("looking for tests: %v", err)
	}
	named := regexp.MustCompile(`\bTest[A-Za-z0-9]+\b`).FindAllString(string(text), -1)
	if len(named) < 20 {
		t.Errorf("only %d tests are named", len(named))
	}
	rows := regexp.MustCompile(`(?m)^\| \d.*$`).FindAllString(string(text), -1)
	if len(rows) < 20 {
		t.Errorf("only %d points are there", len(rows))
	}
	for _, row := range rows {
		if !regexp.MustCompile(`\| (Test[A-Za-z0-9]+(, )?)+ \|$`).MatchString(row) {
			t.Errorf("no test shows %s", row)
		}
	}
	for _, name := range named {
		if !strings.Contains(string(out), "func "+name+"(\n") {
			t.Errorf("there is no %s", name)
		}
	}
}
