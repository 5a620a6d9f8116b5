// Package arrows holds the architecture as a test: see its test files.
package arrows
