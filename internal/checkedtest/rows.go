package checkedtest

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// Row is one row of a published table, by column name.
type Row struct {
	t      testing.TB
	where  string
	fields map[string]string
}

// Text returns a column's text.
func (r Row) Text(column string) string {
	r.t.Helper()
	v, ok := r.fields[column]
	if !ok {
		r.t.Fatalf("%s has no column %q", r.where, column)
	}
	return v
}

// Float returns a column's number.
func (r Row) Float(column string) float64 {
	r.t.Helper()
	v, err := strconv.ParseFloat(r.Text(column), 64)
	if err != nil {
		r.t.Fatalf("%s: column %q: %v", r.where, column, err)
	}
	return v
}

// Rows reads a table of the project's testdata folder, such as
// "handbook/evaporation_pca.csv". An empty table is an error.
func Rows(t testing.TB, name string) []Row {
	t.Helper()
	recs, err := csv.NewReader(Open(t, name)).ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	if len(recs) < 2 {
		t.Fatalf("%s holds no rows", name)
	}
	var rows []Row
	for i, rec := range recs[1:] {
		m := make(map[string]string, len(rec))
		for j, v := range rec {
			m[recs[0][j]] = v
		}
		rows = append(rows, Row{t, name + " row " + strconv.Itoa(i+1), m})
	}
	return rows
}

// Open opens a file of the project's testdata folder until the test ends.
func Open(t testing.TB, name string) *os.File {
	t.Helper()
	f, err := os.Open(filepath.Join(root(t), "testdata", filepath.FromSlash(name)))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = f.Close() })
	return f
}

// root is the folder that holds go.mod.
func root(t testing.TB) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = up
	}
}
