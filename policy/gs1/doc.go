// Package gs1 reads and writes the keys that trade items, places, pallets and
// assets carry in the GS1 system, in every form in which plants meet them: a
// scanned element string, the same with brackets for people, a Digital Link, an
// EPC urn. They are accepted and never required: a plant's own code is as good,
// and Recognise tells the two apart.
//
// Lengths, character sets and which identifier needs which are those of the GS1
// General Specifications, as the GS1 Application Identifier syntax dictionary
// lists them; of the identifiers, those that food plants use.
package gs1
