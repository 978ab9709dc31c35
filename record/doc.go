// Package record holds the nouns of an isolation record: what was read, between
// which conductors, with which instrument, when, on what supply, and what the
// judge found in it.
//
// Every type here is a plain value. The zero value of each means "not recorded"
// or "not judged", and never a pass: a zero [Reading] is absent, a zero [Stage]
// is absent, a zero [Instant] is no time, a zero [Status] is not judged.
//
// Text forms are parsed here too (ParseReading, ParseInstant, ParsePair and the
// rest), because what a noun means and how it is written are one decision. They
// take canonical text as the reading events, job sheet and register use it;
// foreign files are brought into that form by package formats.
//
// The package imports the standard library only.
package record
