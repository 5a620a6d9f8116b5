// Package physics holds the table of physical scenarios as its test: what the API
// says of made-up projects and weathers, beside independent answers.
package physics
