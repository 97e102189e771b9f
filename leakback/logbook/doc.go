// Package logbook keeps the events of tests in a database: what was entered is
// committed before Append returns, nothing is changed afterwards, and each test's
// events form a chain of hashes, so that a change shows. It knows no screen and
// no clock; what the events mean is said by package leakback.
//
// # Tables
//
// events holds one row an event and is append-only: triggers refuse UPDATE and
// DELETE. tests holds what lists and searches need of each test; it is worked out
// from the events in the transaction that adds them, and Check works it out again.
// A test's number is local to its logbook; its id, a UUIDv7, is the same in all.
//
// # Files
//
// A SQLite logbook is one file, with two of SQLite's own beside it while it is open
// and after a crash: -wal holds what was committed last and belongs to the logbook,
// so copy with Backup; -shm can be made again. A new logbook gets its name when it
// is whole. Options.ReadOnly changes neither the file nor what -wal holds; it may
// leave an empty -wal and a -shm behind, which the next writer clears away.
//
// # Export
//
// An export is lines of JSON (RFC 8259, one object a line, UTF-8, each line ended
// by a line feed). The first line is the header:
//
//	{"format":"leakback logbook","version":1,"tests":2,"events":40}
//
// Then there is a line for each event with all its fields, tests in the order of
// their ids and events in the order of their places:
//
//	{"test":"0199…","seq":1,"at_us":…,"elapsed_ms":…,"person":"…","kind":"…","run":0,"cylinder":0,"line":"","field":"…","value":"…","typed":"","reason":"","hash":"…"}
//
// The fields are those of leakback.Event; hash is the event's place in the chain,
// 64 hexadecimal digits (see chain.go). The last line is the footer, with the
// SHA-256 of all bytes before it:
//
//	{"end":"leakback logbook","tests":2,"events":40,"sha256":"…"}
package logbook
