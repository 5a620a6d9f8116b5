package config

import (
	"fmt"
	"io"
	"text/tabwriter"
)

// Settings writes every key with its value in force, secrets hidden.
func Settings(w io.Writer, getenv func(string) string) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, k := range Keys() {
		value, from := getenv(k.Name), "set"
		switch {
		case value == "":
			value, from = k.Default, "default"
		case k.Secret:
			value = hidden
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", k.Name, value, from)
	}
	if err := t.Flush(); err != nil {
		return fmt.Errorf("config: settings: %w", err)
	}
	return nil
}

// Help writes every key of the environment with its default and meaning.
func Help(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, k := range Keys() {
		def := k.Default
		if def == "" {
			def = "none"
		}
		fmt.Fprintf(t, "%s\t%s\t%s\n", k.Name, def, k.Meaning)
	}
	if err := t.Flush(); err != nil {
		return fmt.Errorf("config: help: %w", err)
	}
	return nil
}
