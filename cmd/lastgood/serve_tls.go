package main

import (
	"crypto/tls"
	"errors"
	"net"
)

// securedBy is how connections are secured: TLS 1.2 or later, HTTP/2 where the caller
// has it. nil: not at all, since no certificate is given.
func securedBy(certificate, key string) (*tls.Config, error) {
	switch {
	case certificate == "" && key == "":
		return nil, nil
	case certificate == "" || key == "":
		return nil, errors.New("--tls-cert and --tls-key belong together")
	}
	pair, err := tls.LoadX509KeyPair(certificate, key)
	if err != nil {
		return nil, err
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, nil
}

// readable warns where others than this machine reach an address and nothing hides
// what passes; empty: all is well.
func readable(a net.Addr, secured *tls.Config) string {
	if t, ok := a.(*net.TCPAddr); secured != nil || ok && t.IP.IsLoopback() {
		return ""
	}
	return "passwords, keys and records pass readable for everybody on the way to " + a.String()
}
