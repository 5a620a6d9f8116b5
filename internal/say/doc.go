// Package say owns every sentence that a person reads: a code and its figures
// go in, a sentence comes out for a Reader with a language, units, a clock and
// a zone. The sentences are data: for each language a file in catalogs/ and
// one with the words of the pages. A further language is two more files with its
// tags in Languages.
//
//	say.HabitsOf("en-US").Say(message.New(pour.NotPlaced, message.Name("pad", "H1")))
//
// In a template {name} stands for a figure, and {name:form} for a form of it:
//
//	a number     word: in letters up to twelve; bare: without marks of thousands;
//	             d2, d3: with two or three digits after the point
//	a list       count: how many there are, in letters
//	an instant   clock, date, long, weekday, day, near; without a form, weekday and clock
//	a date       long: in full; weekday; day: in full, called today or tomorrow where
//	             it is; near: the same in short; without a form, in short
//
// A sentence whose words depend on a number is an object: by names the figure,
// then one template for each plural form of the language (zero, one, few, many,
// other). A figure is converted by its dimension: templates hold no units.
//
// # To convert a producer
//
//  1. Declare in the producer's package a constant of type message.Code for each
//     sentence, with the names of its figures in the comment.
//  2. Return message.Message (fault.Rule for a rule) in place of the string, the
//     figures in SI by message.Temperature, message.At and the like.
//  3. Put the sentence of each code into each file of catalogs/.
//  4. Add one example of each code to testdata/examples.json; the tests then hold
//     that no code lacks a sentence or an example and that every figure is said.
//  5. Word it where it leaves the service: the API by the reader of the request,
//     with the message beside it as <name>_data; a page or an alert by its Reader.
//  6. Where the string is stored, store the message beside it. A row without one
//     reads as message.Stored(text).
//  7. Remove whatever read the old sentence, and run go test ./internal/say -update,
//     then read the lists in testdata/ as a builder would at 05:00.
package say
