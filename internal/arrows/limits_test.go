package arrows

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"
)

// Limits of what is written by hand.
const (
	mostLines   = 400
	mostColumns = 120 // a tab counts as four
)

// Go, SQL, JavaScript and style sheets are within the limits of lines and columns.
func TestFilesAndLinesAreShort(t *testing.T) {
	n := 0
	err := filepath.WalkDir("../..", func(name string, d fs.DirEntry, err error) error {
		base := filepath.Base(name)
		switch {
		case err != nil:
			return err
		case d.IsDir() && (base == "node_modules" || base == "bin" || len(base) > 2 && base[0] == '.'):
			return fs.SkipDir
		case d.IsDir() || !slices.Contains([]string{".go", ".sql", ".js", ".css"}, filepath.Ext(name)):
			return nil
		}
		text, err := os.ReadFile(name)
		if err != nil {
			return err
		}
		n++
		checkLimits(t, name, strings.Split(strings.TrimSuffix(string(text), "\n"), "\n"))
		return nil
	})
	if err != nil || n < 500 {
		t.Errorf("%d files: %v", n, err)
	}
}

func checkLimits(t *testing.T, name string, lines []string) {
	t.Helper()
	if len(lines) > mostLines {
		t.Errorf("%s has %d lines, at most %d", name, len(lines), mostLines)
	}
	for i, line := range lines {
		if n := utf8.RuneCountInString(strings.ReplaceAll(line, "\t", "    ")); n > mostColumns {
			t.Errorf("%s:%d has %d columns, at most %d", name, i+1, n, mostColumns)
		}
	}
}
