// Package exchange reads a case folder: the files that a plant can export from
// a spreadsheet or a historian today.
//
// It looks at syntax and types, row by row, and names everything that is wrong
// by file, line, column and rule. Whether the rows make sense together (an
// instrument that nobody registered, an expired certificate, lots in a circle)
// is not its business: the workflow decides that, with the same rules for
// files and for the API. Each row therefore keeps its file and line, so that a
// later fault can still point at it.
//
// A data file is NAME.csv or NAME.ndjson, plain or compressed (.gz, .zst).
// Both forms are cut into the same fields, by column, and go through the same
// decoders, so that a value means the same in both.
//
// # Rules
//
// Of the folder: missing-file, two-files, empty-file, no-rows, unreadable,
// truncated, damaged-file, bad-yaml, unknown-time-zone.
//
// Of a file's columns: unknown-column, duplicate-column, missing-column,
// not-comma-separated.
//
// Of a row as a whole: wrong-number-of-fields, bad-quoting, bad-json, too-long,
// not-utf8, nul-character.
//
// Of a value: required, not-one-value, unknown-word, not-true-or-false,
// not-a-number, too-many-decimals, not-a-whole-number, out-of-range,
// below-absolute-zero, unknown-unit, offset-required, ambiguous-local-time,
// nonexistent-local-time, bad-time,
// surrounding-space, control-character, too-long, not-a-quantity,
// negative-quantity, quantity-without-unit.
//
// Of values together: ends-before-it-begins, lot-into-itself,
// certificate-differs, duplicate-point, check-differs, found-required,
// unusable-with-value, reference-reading-required, reference-not-allowed,
// repeats-and-spread.
//
// Everything but the readings is small and is held in memory by [Read]. The
// readings are streamed by [Folder.Readings].
package exchange
