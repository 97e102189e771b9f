// Package logbook keeps the events of tests in a database, a SQLite file or one of a
// PostgreSQL server: what was entered is committed before Append returns, nothing is
// changed afterwards, and each test's events form a chain of hashes, so that a change
// shows. It knows no screen and no clock; what the events mean is said by package
// leakback.
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
// leave an empty -wal and a -shm behind, which the next writer clears away. A -wal
// that is broken in the middle, of which SQLite reads no more than what stands before
// that, is copied to -wal.damaged (-wal.damaged-2 the next time) before it is written
// on.
//
// # Servers
//
// postgres://user@host/database names a database of a PostgreSQL server. User,
// password and TLS are taken from the URL, the environment (PGUSER, PGPASSWORD,
// PGSSLMODE, PGSSLROOTCERT …) and the password file, as its own programs do; no
// message shows a password, and no address a user. The database keeps texts in
// UTF-8; the tables are in the schema leakback, or in the one that search_path in
// the URL names, so that a database may hold other things, and several logbooks.
// Whoever begins the logbook needs CREATE on the database. A bay with a user of its own needs USAGE on
// the schema, SELECT and INSERT on its tables and UPDATE on tests; it cannot change
// events, nor take away what refuses that.
//
// Several bays write at once. Adding to a test locks the test's row, beginning one
// locks the list of tests; nobody waits for more. What the server asks to try again
// (a deadlock, a restart, a connection that broke) is tried again until Options.Wait
// is over. Where the answer to a commit got lost, the event's place and hash say
// whether it arrived: nothing is lost and nothing is there twice. The server ends
// statements that take too long, and transactions of a laptop that fell asleep. A
// pooler in between has to keep a session to a connection.
//
// A bay whose server is away goes on with a file, with the same test ids; Copy
// delivers what was entered.
//
// # Copies
//
// Copy, and Import, add to a logbook the tests that another has. Test ids are the
// same in all logbooks, and an event is known by its place in its test and its hash.
// Of a test that one logbook has the beginning of, the rest is added; a test of which
// two logbooks tell different stories is left as it is in both, and named.
//
// # Chain
//
// The hash of an event is the SHA-256 (FIPS 180-4) of this array of 15 items, encoded
// as CBOR (RFC 8949) by its core deterministic rules (section 4.2.1):
//
//	["leakback event 1", previous, test_id, seq, at_us, elapsed_ms, person, kind,
//	 run, cylinder, line, field, value, typed, reason]
//
// previous is a byte string, the 32 bytes of the hash of the event before, empty
// for the first; seq, at_us, elapsed_ms, run and cylinder are integers; the others
// are text strings, UTF-8 as it was entered. A test's head is the hash of its last
// event: it stands for all of them. Hashes are kept as 64 lower-case hex digits.
//
// What it proves: an event that was changed, moved, added in between or removed no
// longer agrees with the hashes that follow, and with the test's head. Check finds
// the first such event. Whoever has kept a head (on a printed report, in a list of
// heads) can tell, without trust in the logbook or in whoever has it, that the events
// up to there are those of then: no other events with that head can be made.
//
// What it cannot prove: that what was entered was true, that it was entered at the
// time that stands there (the machine's clock is whoever's who sets it), or by the
// person. Nor does it hold against somebody who may write to all of the database and
// works out every hash anew, with the list of tests: such a logbook agrees with
// itself, and so does a report that is printed from it afterwards. Only a head that
// somebody else has kept from before tells of it. The same goes for a test that was
// removed altogether, and for the end of one that was removed with its entry in the
// list brought in line. A head is no signature: it does not say who made it.
//
// # Heads
//
// A list of heads is what a second party keeps. It is lines of JSON like an export
// (below): a header, a line for each test in the order of the ids, and a footer with
// the SHA-256 of all bytes before it, which fits on paper and stands for the whole
// list:
//
//	{"format":"leakback heads","version":1}
//	{"test":"0199…","number":1,"events":40,"head":"…"}
//	{"end":"leakback heads","tests":1,"events":40,"sha256":"…"}
//
// CheckHeads holds it against the logbook. Events that were added since are no fault.
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
// 64 hexadecimal digits. The last line is the footer, with the
// SHA-256 of all bytes before it:
//
//	{"end":"leakback logbook","tests":2,"events":40,"sha256":"…"}
package logbook
