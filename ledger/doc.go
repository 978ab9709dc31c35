// Package ledger keeps what was handed in, what was made of it, and what was
// decided on it, so that nothing kept is lost, doubled or altered unseen.
//
// One schema (schema/*.sql) and one set of queries serve SQLite, for a path, and
// PostgreSQL, for a postgres:// URL. Rows are only ever added. Everything that is
// added is a leaf of one Merkle tree (RFC 6962), and a row's number is its place
// there:
//
//	content      a file as it came, under its SHA-256, packed with zstd in parts
//	upload       one call of ingest: its files, each with the part it played
//	version      a record: its evidence, and some of that again to search by
//	judging      one run of the judge: policy, register and rules it went by
//	judgement    what a judging found in a version
//	decision     what somebody decided on a version
//	event        something that happened to an instrument
//	lookback     a look back at the records that rest on an instrument which failed
//	mark         what it says of a version
//
// Of a version, the tables proof and usage hold parts of the evidence again, a row
// each; they follow from the evidence and have no leaf of their own.
//
// [Ledger.Update] is the only way to write. It holds the ledger's lock, adds to the
// tree, and signs the new tree head (a checkpoint, c2sp.org/tlog-checkpoint) within
// the same transaction: all of it is kept, or nothing.
//
//	chain.go      leaves, tree heads, proofs: pure functions
//	tiles.go      the hashes of the tree, 256 a row
//	evidence.go   the encoding of a record's rows
//	upload.go, version.go, judgement.go, decision.go, event.go
//	              what is written
//	across.go     what else must be looked at when a record comes in
//	review.go     what waits for a person
//	instrument.go what instruments are judged by
//	lookback.go   records that an instrument makes doubtful
//	audit.go      everything against the tree
//	backup.go     a ledger copied into another
//
// What the signature is worth: it shows that nobody without the private key has
// altered the ledger. Who holds both the ledger and its key can write another
// history and sign it. Against that, checkpoints are kept elsewhere, where that
// person does not get at them; [Ledger.Audit] shows that the ledger extends them.
package ledger
