package logbook

import (
	"crypto/tls"
	"crypto/x509"
	"database/sql/driver"
	"errors"
	"fmt"
	"io"
	"net"
	"strings"
	"syscall"

	"github.com/jackc/pgx/v5/pgconn"

	"leakback/limits/quantity"
)

// sqlState is the server's code of an error
// (https://www.postgresql.org/docs/current/errcodes-appendix.html); "" where the
// server did not say it.
func sqlState(err error) string {
	var e *pgconn.PgError
	if errors.As(err, &e) {
		return e.Code
	}
	return ""
}

// passingPostgres says whether the same transaction may work when it is tried
// again: others were in the way, or the connection broke.
func passingPostgres(err error) bool {
	if explained(err) || errors.As(err, new(contentError)) {
		return false
	}
	switch code := sqlState(err); code {
	case "":
		return lostConnection(err)
	case "40001", "40P01": // serialization_failure, deadlock_detected
		return true
	default:
		return goneState(code)
	}
}

// goneState says whether a code is that of a server that ends the connection.
func goneState(code string) bool {
	switch code {
	case "57P01", "57P02", "57P03", "57P05", "25P03", "53300": // shut down, crashed, starting, idle too long, too many connections
		return true
	}
	return strings.HasPrefix(code, "08") // connection exceptions
}

// Windows' own numbers of what fails on a network, which package syscall does not take
// for the usual ones. No other system has errors with such numbers.
const (
	windowsNoNet   = syscall.Errno(10051) // WSAENETUNREACH
	windowsRefused = syscall.Errno(10061) // WSAECONNREFUSED
	windowsNoHost  = syscall.Errno(10065) // WSAEHOSTUNREACH
)

// lostConnection says whether an error is one of the connection itself.
func lostConnection(err error) bool {
	for _, e := range []error{driver.ErrBadConn, io.EOF, io.ErrUnexpectedEOF, net.ErrClosed, pgconn.ErrConnClosed,
		syscall.ECONNRESET, syscall.EPIPE, syscall.ECONNREFUSED} {
		if errors.Is(err, e) {
			return true
		}
	}
	var n net.Error
	var c *pgconn.ConnectError
	return errors.As(err, &n) || errors.As(err, &c) || pgconn.SafeToRetry(err)
}

// explainPostgres says what an error means for the user. What the driver says of
// connections is never repeated, nor kept: it knows the password.
func explainPostgres(address string, err error) error {
	if explained(err) {
		return err
	}
	var e *pgconn.PgError
	if errors.As(err, &e) {
		return explainState(address, e)
	}
	if certificate := new(tls.CertificateVerificationError); errors.As(err, &certificate) {
		return &Error{Kind: Refused, Path: address, Detail: "the server's certificate is not trusted: " + certificateFault(certificate),
			hint: "look at the host's name and at sslrootcert (or PGSSLROOTCERT), the file with the authority's certificate"}
	}
	if !lostConnection(err) {
		return fmt.Errorf("logbook %s: %w", quantity.Name(address), plain{err})
	}
	if strings.HasSuffix(err.Error(), "server refused TLS connection") { // an error without a type
		return &Error{Kind: Refused, Path: address, Detail: "the server takes no encrypted connections",
			hint: "switch TLS on in the server; sslmode=disable goes without, for a network of your own"}
	}
	return away(address, reason(err), err)
}

// plain is an error of the driver's without what it wraps.
type plain struct{ error }

func certificateFault(e *tls.CertificateVerificationError) string {
	var host x509.HostnameError
	var unknown x509.UnknownAuthorityError
	var invalid x509.CertificateInvalidError
	switch {
	case errors.As(e, &host):
		return "it is for another host"
	case errors.As(e, &unknown):
		return "an unknown authority signed it"
	case errors.As(e, &invalid) && invalid.Reason == x509.Expired:
		return "it has expired, or this machine's clock is wrong"
	}
	return "it cannot be verified"
}

// reason is why there is no connection, in words of ours.
func reason(err error) string {
	var dns *net.DNSError
	var n net.Error
	switch {
	case errors.As(err, &dns) && dns.IsNotFound:
		return "no host has this name"
	case errors.As(err, &dns):
		return "the host's name cannot be looked up: is the network there?"
	case errors.Is(err, syscall.ECONNREFUSED), errors.Is(err, windowsRefused):
		return "no server answers there: connection refused"
	case errors.Is(err, syscall.ENOENT):
		return "no server answers there: it has no socket in this folder"
	case errors.Is(err, syscall.EHOSTUNREACH), errors.Is(err, syscall.ENETUNREACH), errors.Is(err, windowsNoNet), errors.Is(err, windowsNoHost):
		return "there is no way to the host: is the network there?"
	case errors.As(err, &n) && n.Timeout():
		return "the server did not answer in time"
	}
	return "the connection to the server broke"
}

// away is a server that cannot be reached. The error that is kept is one of the
// network, if any.
func away(address, what string, err error) error {
	e := &Error{Kind: Unreachable, Path: address, Detail: what,
		hint: "look at the network and the server; go on with the local logbook meanwhile (--logbook with a path): " +
			"leakback logbook copy delivers what is entered there, each entry once"}
	var op *net.OpError
	if errors.As(err, &op) {
		e.err = op.Err
	}
	return e
}

func forbidden(address, what string, err error) error {
	return &Error{Kind: Forbidden, Path: address, Detail: what, err: err,
		hint: "ask who runs the server for USAGE on the schema, SELECT and INSERT on its tables and UPDATE on tests; to begin a logbook, for CREATE on the database"}
}

// explainState says what the server's code means.
func explainState(address string, e *pgconn.PgError) error {
	text := firstLower(quantity.Name(e.Message))
	is := func(k Kind, detail, hint string) error {
		return &Error{Kind: k, Path: address, Detail: detail, hint: hint, err: e}
	}
	switch {
	case e.Code == "28P01": // invalid_password
		return is(Refused, "the server refused the user or the password",
			"look at them: in the URL, in PGUSER and PGPASSWORD, or in the password file")
	case strings.HasPrefix(e.Code, "28"): // invalid_authorization_specification
		return is(Refused, "the server refused the connection: "+text, "ask who runs the server; sslmode=require in the URL asks for encryption")
	case e.Code == "3D000": // invalid_catalog_name
		return is(Missing, "there is no such database on the server", "look at its name, or make it: createdb --encoding=UTF8 --template=template0 NAME")
	case e.Code == "42501": // insufficient_privilege
		return forbidden(address, text, e)
	case e.Code == "25006": // read_only_sql_transaction
		return is(ReadOnly, "the server, or this user, only reads", safe+"use the server that writes")
	case e.Code == "55P03" || strings.HasPrefix(e.Code, "40"): // lock_not_available, transaction_rollback
		return is(Busy, "others wrote to the same test for too long", safe+"enter it again")
	case e.Code == "57014": // query_canceled, by a time limit: the context's end is none of these
		return is(Busy, "the server took too long: "+text, safe+"look what keeps it busy, then try again")
	case e.Code == "53100": // disk_full
		return is(Full, "the server's disk is full", safe+"make room there, then enter it again")
	case goneState(e.Code):
		return away(address, "the server is not there for now: "+text, nil)
	}
	return explainContent(address, e, text)
}

// explainContent is about what is in the tables.
func explainContent(address string, e *pgconn.PgError, text string) error {
	switch e.Code[:2] {
	case "42": // syntax error or access rule violation: a statement of ours that it does not understand
		return damagedTables(address, "the tables are not as they were made: "+text, e)
	case "23": // integrity constraint violation
		return damagedTables(address, "the list of tests and the events contradict each other: "+text, e)
	case "XX", "58": // internal error, data corrupted, input and output
		return damagedTables(address, text, e)
	}
	return fmt.Errorf("logbook %s: %w", quantity.Name(address), e)
}

// damagedTables is a logbook in a database that is not sound.
func damagedTables(address, what string, err error) error {
	return &Error{Kind: Damaged, Path: address, Detail: "damaged: " + what, err: err,
		hint: "nothing was changed; go on with another logbook, have a backup of the database put back, and deliver what was entered meanwhile with leakback logbook copy; leakback logbook check says what is still whole"}
}
