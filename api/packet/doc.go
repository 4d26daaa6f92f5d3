// Package packet is the format of a packet: all that there is to show of one
// deviation, in one file, that anybody can check with a public key alone. It
// knows no database and no network: whoever was handed a packet reads it here.
//
// A packet is a zip of files that are stored as they are, in a fixed order and
// without dates, so that the same content gives the same bytes and every byte
// can be checked:
//
//	manifest.json     what the packet is of, and of each other file its name, size
//	                  and SHA-256; of line files a few bytes of each line's digest
//	manifest.sig      a signed note (C2SP) with the SHA-256 of manifest.json
//	checkpoint.txt    the signed checkpoint that the proofs lead to
//	entries.ndjson    entries of the decision trail: their exact bytes, their places
//	                  in their stream and in the log, and the way to its root
//	records.json      what people signed, byte for byte, and their signatures
//	evidence/DIGEST   what was attached, under its SHA-256
//	policy-N.yaml     the versions of the site's policy that were used
//	run-N.json        the traces, as they were stored
//	readings.csv      the readings as they were recorded and as they were judged
//	sections/NAME.csv the tables of the report
//	report.pdf        all of it for people
//	NOT-INCLUDED.txt  what is not in it, and what it does not prove
//
// In a redacted packet the names of people and consignees are replaced in the
// files for people, and an entry or record that has one is represented by its
// hash alone: the proofs hold, and say less.
package packet
