// Package postgrestest starts PostgreSQL servers for tests: Debian's binaries, in a
// folder of their own, as an ordinary user, on loopback. It is imported by tests
// only, and knows nothing of logbooks.
package postgrestest

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"fmt"
	"math/big"
	"net"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"
)

const (
	// URLVariable names a server that is there already: tests that need no server of
	// their own use its database.
	URLVariable = "LEAKBACK_TEST_POSTGRES"
	// RequireVariable makes a missing server a failure.
	RequireVariable = "LEAKBACK_REQUIRE_POSTGRES"

	// User and Password are those of a server's owner. The password needs escaping
	// in a URL, so that tests meet that.
	User     = "leakback"
	Password = "p@ss/w?rd#5% ü"
	// Database is one in UTF-8.
	Database = "shop"
)

// Options say what kind of server a test needs.
type Options struct {
	// Durable is one that writes to the disk as in earnest; otherwise a machine that
	// loses its power loses what was written.
	Durable bool
	// Settings are further lines of its configuration.
	Settings []string
}

// Server is a running server.
type Server struct {
	bin, folder string
	port        int
	args        []string

	lock   sync.Mutex
	cmd    *exec.Cmd
	exited chan struct{}
}

// Shared is the URL of a database that tests of this process share: of the server
// that the environment names, or of one that is started with the first call. A test
// keeps to a schema of its own. end stops it at the end of TestMain.
func Shared(t testing.TB) string {
	t.Helper()
	if u := os.Getenv(URLVariable); u != "" {
		return u
	}
	shared.once.Do(func() { shared.server, shared.err = start(Options{}) })
	if shared.err != nil {
		missing(t, shared.err)
	}
	return shared.server.URL()
}

// SharedServer is the server of Shared where it is one of this process's own.
func SharedServer(t testing.TB) *Server {
	t.Helper()
	if os.Getenv(URLVariable) != "" {
		t.Skip("a server of the test's own is needed")
	}
	Shared(t)
	return shared.server
}

var shared struct {
	once   sync.Once
	server *Server
	err    error
}

// End stops the server that tests share.
func End() {
	if shared.server != nil {
		shared.server.remove()
	}
}

// missing skips a test, or fails where the environment asks for a server.
func missing(t testing.TB, err error) {
	t.Helper()
	if os.Getenv(RequireVariable) != "" {
		t.Fatal("no PostgreSQL server for the tests: ", err)
	}
	t.Skip("no PostgreSQL server for the tests (Debian's package postgresql, or "+URLVariable+"): ", err)
}

// Start starts a server until the test ends.
func Start(t testing.TB, o Options) *Server {
	t.Helper()
	s, err := start(o)
	if err != nil {
		missing(t, err)
	}
	t.Cleanup(s.remove)
	return s
}

func start(o Options) (*Server, error) {
	bin, err := binaries()
	if err != nil {
		return nil, err
	}
	folder, err := os.MkdirTemp("", "leakback-postgres-")
	if err != nil {
		return nil, err
	}
	s := &Server{bin: bin, folder: folder}
	if err = s.make(o); err == nil {
		err = s.Start()
	}
	if err == nil {
		err = s.createDatabase()
	}
	if err != nil {
		s.remove()
		return nil, err
	}
	return s, nil
}

// createDatabase makes the database, with a language's own order of texts where the
// server knows one (from PostgreSQL 15 on): nothing may depend on that.
func (s *Server) createDatabase() error {
	create := "CREATE DATABASE " + Database
	if s.SQL("postgres", create+" LOCALE_PROVIDER icu ICU_LOCALE 'sv-SE' TEMPLATE template0") == nil {
		return nil
	}
	return s.SQL("postgres", create)
}

// binaries is the folder with initdb and postgres: the newest that Debian
// installed, or the one that pg_config names.
func binaries() (string, error) {
	found, _ := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	slices.SortFunc(found, func(a, b string) int {
		if len(a) != len(b) {
			return len(b) - len(a)
		}
		return strings.Compare(b, a)
	})
	if len(found) > 0 {
		return filepath.Dir(found[0]), nil
	}
	out, err := exec.Command("pg_config", "--bindir").Output()
	if err != nil {
		return "", errors.New("no initdb in /usr/lib/postgresql, and no pg_config")
	}
	bin := strings.TrimSpace(string(out))
	if _, err := os.Stat(filepath.Join(bin, "initdb")); err != nil {
		return "", err
	}
	return bin, nil
}

func (s *Server) data() string { return filepath.Join(s.folder, "data") }

// make makes the folder of a server and its configuration.
func (s *Server) make(o Options) error {
	if err := own(s.folder); err != nil {
		return err
	}
	if err := s.write("password", Password+"\n"); err != nil {
		return err
	}
	if err := s.certificate(); err != nil {
		return err
	}
	out, err := s.command("initdb", "--pgdata="+s.data(), "--username="+User, "--pwfile="+filepath.Join(s.folder, "password"),
		"--auth=scram-sha-256", "--encoding=UTF8", "--locale=C", "--data-checksums", "--no-sync").CombinedOutput()
	if err != nil {
		return fmt.Errorf("initdb: %w: %s", err, out)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	s.port = listener.Addr().(*net.TCPAddr).Port
	listener.Close()
	s.args = []string{"-D", s.data(), "-k", s.folder, "-p", fmt.Sprint(s.port)}
	for _, setting := range append([]string{"listen_addresses=127.0.0.1", "max_connections=60", "shared_buffers=64MB",
		"ssl=on", "ssl_cert_file=" + s.Certificate(), "ssl_key_file=" + filepath.Join(s.folder, "server.key"),
		fmt.Sprintf("fsync=%v", o.Durable), "log_min_messages=fatal"}, o.Settings...) {
		s.args = append(s.args, "-c", setting)
	}
	return nil
}

// write writes a file that only the server's user reads.
func (s *Server) write(name, content string) error {
	path := filepath.Join(s.folder, name)
	if err := os.WriteFile(path, []byte(content), 0o600); err != nil {
		return err
	}
	return own(path)
}

// certificate makes a certificate for the host localhost, and none else.
func (s *Server) certificate() error {
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		return err
	}
	template := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"}, DNSNames: []string{"localhost"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour), IsCA: true, BasicConstraintsValid: true,
		KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, template, template, private.Public(), private)
	if err != nil {
		return err
	}
	secret, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		return err
	}
	return errors.Join(
		s.write("server.crt", string(pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}))),
		s.write("server.key", string(pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: secret}))))
}

// Certificate is the file with the server's certificate, which signed itself. It is
// for localhost, not for 127.0.0.1.
func (s *Server) Certificate() string { return filepath.Join(s.folder, "server.crt") }

// command is one of PostgreSQL's programs, run as the server's user.
func (s *Server) command(name string, args ...string) *exec.Cmd {
	cmd := exec.Command(filepath.Join(s.bin, name), args...)
	cmd.Dir = s.folder
	asUser(cmd)
	return cmd
}

// Start starts a server that was stopped, and returns when it takes connections.
func (s *Server) Start() error {
	s.lock.Lock()
	defer s.lock.Unlock()
	cmd := s.command("postgres", s.args...)
	log, err := os.OpenFile(filepath.Join(s.folder, "log"), os.O_CREATE|os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer log.Close()
	cmd.Stdout, cmd.Stderr = log, log
	exited, err := run(cmd)
	if err != nil {
		return err
	}
	s.cmd, s.exited = cmd, exited
	for range 600 {
		if s.SQL("postgres", "SELECT 1") == nil {
			return nil
		}
		select {
		case <-exited:
			said, _ := os.ReadFile(log.Name())
			return fmt.Errorf("the server ended: %s", said)
		case <-time.After(50 * time.Millisecond):
		}
	}
	return errors.New("the server did not start within 30 s")
}

// Stop stops the server: at once, as after a crash, or after it ended its
// connections.
func (s *Server) Stop(immediate bool) {
	s.lock.Lock()
	defer s.lock.Unlock()
	if s.cmd == nil {
		return
	}
	signal(s.cmd.Process, immediate)
	<-s.exited
	s.cmd = nil
}

func (s *Server) remove() {
	s.Stop(true)
	os.RemoveAll(s.folder)
}

// Folder is where the server keeps its data.
func (s *Server) Folder() string { return s.data() }

// SQL runs statements with psql, as the owner.
func (s *Server) SQL(database string, statements ...string) error {
	args := []string{"--no-psqlrc", "--quiet", "--set=ON_ERROR_STOP=1", "--host=" + s.folder, fmt.Sprint("--port=", s.port),
		"--username=" + User, "--dbname=" + database}
	for _, statement := range statements {
		args = append(args, "--command="+statement)
	}
	cmd := s.command("psql", args...)
	cmd.Env = append(os.Environ(), "PGPASSWORD="+Password)
	if out, err := cmd.CombinedOutput(); err != nil {
		return fmt.Errorf("%w: %s", err, out)
	}
	return nil
}

// URL is the address of the database with user and password, without TLS.
func (s *Server) URL() string {
	return s.With(func(u *url.URL) {})
}

// With is the URL after a change.
func (s *Server) With(change func(*url.URL)) string {
	u := &url.URL{Scheme: "postgres", User: url.UserPassword(User, Password), Host: fmt.Sprintf("127.0.0.1:%d", s.port),
		Path: "/" + Database, RawQuery: "sslmode=disable"}
	change(u)
	return u.String()
}
