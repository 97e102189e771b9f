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
package logbook
