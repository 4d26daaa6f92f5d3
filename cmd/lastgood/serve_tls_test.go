package main

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"lastgood/workflow/pg/pgtest"
)

// selfSigned makes a certificate of 127.0.0.1 that signs itself, and its key, as
// files, and a pool that trusts it.
func selfSigned(t *testing.T) (certificate, key string, trusted *x509.CertPool) {
	t.Helper()
	private, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	of := &x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true}
	der, err := x509.CreateCertificate(rand.Reader, of, of, private.Public(), private)
	if err != nil {
		t.Fatal(err)
	}
	kept, err := x509.MarshalPKCS8PrivateKey(private)
	if err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	certificate, key = filepath.Join(dir, "cert.pem"), filepath.Join(dir, "key.pem")
	for path, b := range map[string]*pem.Block{certificate: {Type: "CERTIFICATE", Bytes: der}, key: {Type: "PRIVATE KEY", Bytes: kept}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(b), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	trusted = x509.NewCertPool()
	parsed, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	trusted.AddCert(parsed)
	return certificate, key, trusted
}

// serves runs the program's own serve until the test ends, and returns where.
func serves(t *testing.T, args ...string) string {
	t.Helper()
	db := pgtest.DB(t)
	r, w := io.Pipe()
	ctx, stop := context.WithCancel(t.Context())
	ended := make(chan int, 1)
	var errs strings.Builder
	go func() {
		ended <- run(ctx, append([]string{"serve", "--listen", "127.0.0.1:0", "--database-url", db.App, "--owner-url", db.Owner,
			"--checkpoint-key", filepath.Join(t.TempDir(), "k")}, args...), w, &errs)
		w.Close()
	}()
	line, err := bufio.NewReader(r).ReadString('\n')
	if err != nil {
		stop()
		t.Fatalf("serve: %v, exit status %d\n%s", err, <-ended, errs.String())
	}
	t.Cleanup(func() { stop(); <-ended })
	return strings.TrimSpace(strings.TrimPrefix(line, "serving on "))
}

// TestServeWithTLS: TLS 1.2 and 1.3, HTTP/2 for who has it, and nothing below or
// beside.
func TestServeWithTLS(t *testing.T) {
	t.Parallel()
	certificate, key, trusted := selfSigned(t)
	base := serves(t, "--tls-cert", certificate, "--tls-key", key)
	if !strings.HasPrefix(base, "https://") {
		t.Fatalf("it says that it serves on %s", base)
	}
	ask := func(h2 bool, low, high uint16) (*http.Response, error) {
		c := &http.Client{Transport: &http.Transport{ForceAttemptHTTP2: h2, TLSClientConfig: &tls.Config{RootCAs: trusted, MinVersion: low, MaxVersion: high}}}
		defer c.CloseIdleConnections()
		res, err := c.Get(base + "/healthz")
		if err == nil {
			res.Body.Close()
		}
		return res, err
	}
	for _, c := range []struct {
		h2        bool
		low, high uint16
		proto     string // empty: refused
	}{
		{true, tls.VersionTLS12, tls.VersionTLS13, "HTTP/2.0"}, {false, tls.VersionTLS12, tls.VersionTLS12, "HTTP/1.1"},
		{false, tls.VersionTLS10, tls.VersionTLS11, ""},
	} {
		res, err := ask(c.h2, c.low, c.high)
		switch {
		case c.proto == "" && err == nil:
			t.Errorf("%s is spoken", tls.VersionName(res.TLS.Version))
		case c.proto != "" && err != nil:
			t.Errorf("%s: %v", tls.VersionName(c.high), err)
		case c.proto != "" && (res.StatusCode != 200 || res.Proto != c.proto || res.TLS.Version != c.high || res.Header.Get("Server") != ""):
			t.Errorf("%d by %s and %s, with %v", res.StatusCode, res.Proto, tls.VersionName(res.TLS.Version), res.Header)
		}
	}
	res, err := http.Get("http" + strings.TrimPrefix(base, "https") + "/healthz")
	if err == nil {
		res.Body.Close()
		if res.StatusCode != http.StatusBadRequest {
			t.Errorf("without TLS: %d", res.StatusCode)
		}
	}
}

// TestHeadIsBounded: a head of more than 32 KiB, and somewhat, is not read.
func TestHeadIsBounded(t *testing.T) {
	t.Parallel()
	base := serves(t)
	for n, want := range map[int]int{16 << 10: 200, 64 << 10: 431} {
		req, err := http.NewRequestWithContext(t.Context(), http.MethodGet, base+"/healthz", nil)
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("X-Long", strings.Repeat("x", n))
		res, err := http.DefaultClient.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if res.StatusCode != want {
			t.Errorf("%d bytes: %d, want %d", n, res.StatusCode, want)
		}
	}
}

func TestWhatServeRefusesOfTLS(t *testing.T) {
	t.Parallel()
	certificate, key, _ := selfSigned(t)
	_, other, _ := selfSigned(t)
	for want, c := range map[string][2]string{"": {"", ""}, "belong together": {certificate, ""}, "belong together ": {"", key},
		"private key does not match": {certificate, other}, "failed to find": {key, key}} {
		_, err := securedBy(c[0], c[1])
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), strings.TrimSpace(want)) {
			t.Errorf("%q: %v", want, err)
		}
	}
}

func TestWhoReachesAnAddress(t *testing.T) {
	t.Parallel()
	for at, want := range map[string]bool{"127.0.0.1": false, "127.8.0.1": false, "::1": false, "0.0.0.0": true, "::": true, "192.0.2.7": true} {
		a := &net.TCPAddr{IP: net.ParseIP(at)}
		if said := readable(a, nil); (said != "") != want || want && !strings.Contains(said, at) {
			t.Errorf("%s: %q", at, said)
		}
		if said := readable(a, &tls.Config{}); said != "" {
			t.Errorf("%s with TLS: %q", at, said)
		}
	}
}
