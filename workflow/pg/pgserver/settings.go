//go:build linux

package pgserver

import (
	"fmt"
	"os/exec"
	"path/filepath"
	"strconv"
)

// port is part of the socket's name only: nothing listens on TCP.
const port = 5432

// The roles of a private server. The administrator is the cluster's superuser
// and is used by nobody but this package and tests.
const (
	adminRole = "lastgood_admin"
	ownerRole = "lastgood_owner"
	appRole   = "lastgood_app"
)

// OwnerURL returns the connection string of the role that owns the database db
// and migrates it. It is no superuser.
func (s *Server) OwnerURL(db string) string { return s.dsn(ownerRole, db) }

// AppURL returns the connection string of the role that serves: neither an owner
// of tables nor a superuser.
func (s *Server) AppURL(db string) string { return s.dsn(appRole, db) }

// AdminURL returns the connection string of the cluster's superuser.
func (s *Server) AdminURL(db string) string { return s.dsn(adminRole, db) }

// dsn needs no quotes: a socket folder of ours has a plain path.
func (s *Server) dsn(role, db string) string {
	return fmt.Sprintf("host=%s port=%d user=%s dbname=%s sslmode=disable timezone=UTC application_name=lastgood",
		s.sockDir, port, role, db)
}

// arguments are the server's settings. They are given at each start, so that an
// old folder gets new ones.
func (s *Server) arguments() []string {
	set := [][2]string{
		{"listen_addresses", ""}, {"unix_socket_directories", s.sockDir}, {"unix_socket_permissions", "0700"},
		{"logging_collector", "off"}, {"log_destination", "stderr"}, {"timezone", "UTC"},
		{"max_connections", "100"}, {"shared_buffers", "256MB"},
		{"max_wal_size", "4GB"}, {"checkpoint_timeout", "15min"}, {"synchronous_commit", "on"},
		{"jit", "off"}, {"random_page_cost", "1.1"},
	}
	if s.throwAway {
		set = append(set, [2]string{"shared_buffers", "128MB"}) // the last one counts
	}
	set = append(set, s.durability()...)
	args := []string{"-D", s.data, "-p", strconv.Itoa(port)}
	for _, kv := range set {
		args = append(args, "-c", kv[0]+"="+kv[1])
	}
	return args
}

// durability: a throw-away folder outlives no power cut, so nothing in it waits
// for the disk. A commit still writes its log to the kernel: a backend that
// crashes loses nothing.
func (s *Server) durability() [][2]string {
	if s.throwAway {
		return [][2]string{{"fsync", "off"}, {"full_page_writes", "off"}}
	}
	return [][2]string{{"fsync", "on"}, {"full_page_writes", "on"},
		{"wal_compression", s.walCompression()}} // of full pages only
}

// walCompression asks the binary: lz4 is the faster, where it was built in.
func (s *Server) walCompression() string {
	cmd := exec.Command(filepath.Join(s.bin, "postgres"), "-D", s.data, "-c", "wal_compression=lz4", "-C", "wal_compression")
	cmd.Env, cmd.Dir = environment(), s.data
	cmd.SysProcAttr = attributes(s.account)
	if runTied(cmd) == nil {
		return "lz4"
	}
	return "on"
}
