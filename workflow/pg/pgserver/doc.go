//go:build linux

// Package pgserver runs a private PostgreSQL as a child process: found on the
// machine, in a data folder of its own, on a unix socket that only we enter,
// with data checksums, and stopped with us however we end. As root it runs the
// server under an account without rights.
package pgserver
