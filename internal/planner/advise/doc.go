// Package advise says what a builder must know of a plan and of each morning:
// score, parts, cautions, remedies, reasons, the nearest better option, and what
// changed from one plan to the next. It gives codes with figures and no
// sentences. Remedies are decided anew by package policy.
package advise
