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

// beyond says whether anybody beyond this machine can reach an address.
func beyond(a net.Addr) bool {
	t, ok := a.(*net.TCPAddr)
	return !ok || !t.IP.IsLoopback()
}
