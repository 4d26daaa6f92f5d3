package main

import (
	"bytes"
	"context"
	"net"
	"os/exec"
	"regexp"
	"strings"
	"sync"
	"testing"
)

// tail is what a program prints, for others to read while it runs.
type tail struct {
	mu   sync.Mutex
	text bytes.Buffer
	more chan struct{}
}

// Write keeps what was printed and wakes whoever waits.
func (t *tail) Write(b []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	select {
	case t.more <- struct{}{}:
	default:
	}
	return t.text.Write(b)
}

// until returns what was printed once it contains some words.
func (t *tail) until(words string, ended <-chan struct{}) string {
	for {
		t.mu.Lock()
		s := t.text.String()
		t.mu.Unlock()
		if strings.Contains(s, words) {
			return s
		}
		select {
		case <-t.more:
		case <-ended:
			return s
		}
	}
}

// TestDemoLinesWorkAsPrinted runs the demo and the four lines that it prints,
// in a shell, as a newcomer would.
func TestDemoLinesWorkAsPrinted(t *testing.T) {
	t.Parallel()
	taken, err := net.Listen("tcp", "127.0.0.1:0") // so that the demo has to find a port of its own
	if err != nil {
		t.Fatal(err)
	}
	defer taken.Close()
	ctx, stop := context.WithCancel(context.Background())
	out := &tail{more: make(chan struct{}, 1)}
	ended := make(chan struct{})
	var code int
	var errs bytes.Buffer
	go func() {
		defer close(ended)
		code = run(ctx, []string{"demo", "--listen", taken.Addr().String()}, out, &errs)
	}()
	defer func() {
		stop()
		<-ended
		if code != exitClear {
			t.Errorf("exit status %d\n%s", code, errs.String())
		}
	}()
	text := out.until("Ctrl-C", ended)
	lines := regexp.MustCompile(`(?m)^(TOKEN=\$\()?curl .*$`).FindAllString(text, -1)
	if len(lines) != 4 {
		t.Fatalf("%d lines to try\n%s%s", len(lines), text, errs.String())
	}
	for i, want := range []string{`"instrument":"HP-02"`, `"holds":[{`, `"lot":"CK-0818-B"`, `"code":"open_hold"`} {
		b, err := exec.Command("bash", "-c", lines[i]).CombinedOutput()
		if err != nil || !strings.Contains(string(b), want) {
			t.Errorf("%s\n%v: want %s in\n%s", lines[i], err, want, b)
		}
	}
}
