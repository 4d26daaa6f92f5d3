package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os/exec"
	"slices"
	"strings"
)

// psql is one warm session of PostgreSQL's own client.
type psql struct {
	cmd  *exec.Cmd
	in   io.WriteCloser
	said *bufio.Scanner
}

// startPsql starts a session that stops at the first error. dsn is the driver's:
// it may name settings, which psql does not take there.
func startPsql(ctx context.Context, program, dsn string) (*psql, error) {
	words := slices.DeleteFunc(strings.Fields(dsn), func(w string) bool { return strings.HasPrefix(w, "timezone=") })
	cmd := exec.CommandContext(ctx, program, "--no-psqlrc", "--quiet", "--set", "ON_ERROR_STOP=1", strings.Join(words, " "))
	in, err := cmd.StdinPipe()
	if err != nil {
		return nil, err
	}
	said, err := cmd.StderrPipe()
	if err != nil {
		return nil, err
	}
	if err := cmd.Start(); err != nil {
		return nil, err
	}
	return &psql{cmd, in, bufio.NewScanner(said)}, nil
}

// run runs one line and waits until it is done. psql says so on its standard
// error, which it does not buffer.
func (p *psql) run(line string) error {
	fmt.Fprintf(p.in, "%s\n\\warn done\n", line) // if psql has ended, what it said tells why
	var said []string
	for p.said.Scan() {
		if p.said.Text() == "done" {
			if len(said) > 0 {
				return errors.New("psql: " + strings.Join(said, "\n"))
			}
			return nil
		}
		said = append(said, p.said.Text())
	}
	return fmt.Errorf("psql ended: %s", strings.Join(said, "\n"))
}

func (p *psql) pid() int { return p.cmd.Process.Pid }

func (p *psql) close() {
	if p != nil {
		p.in.Close()
		p.cmd.Wait()
	}
}
