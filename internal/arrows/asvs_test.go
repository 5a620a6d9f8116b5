package arrows

import (
	"os"
	"os/exec"
	"regexp"
	"strings"
	"testing"
)

// The table of security points names tests that there are.
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
	for _, name := range named {
		if !strings.Contains(string(out), "func "+name+"(\n") {
			t.Errorf("there is no %s", name)
		}
	}
}
