package main

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/go-json-experiment/json"

	"lastgood/workflow"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail/checkpoint"
)

// checkpointCmd is about what the decision trail is signed by.
type checkpointCmd struct {
	Key    checkpointKeyCmd    `cmd:"" help:"Print the public key that checks checkpoints and packets; made on first use."`
	Accept checkpointAcceptCmd `cmd:"" help:"Let the log go on from an older state than a witness saw. Start the server again afterwards."`
}

// keyFlag says where the key is that signs checkpoints and packets.
type keyFlag struct {
	CheckpointKey string `name:"checkpoint-key" type:"path" help:"File of the key that signs checkpoints and packets. Without it: beside the data folder, or in the user's configuration folder. Made on first use."`
}

// keyFile returns where the key is kept; empty: nowhere, for a database that is
// thrown away.
func (k keyFlag) keyFile(d kept) (string, error) {
	switch {
	case k.CheckpointKey != "":
		return k.CheckpointKey, nil
	case d.Data != "":
		return filepath.Clean(d.Data) + ".checkpoint-key", nil
	case d.DatabaseURL == "":
		return "", nil
	}
	dir, err := os.UserConfigDir()
	if err != nil {
		return "", usage{fmt.Errorf("there is no configuration folder for the checkpoint key (%w): give --checkpoint-key FILE", err)}
	}
	return filepath.Join(dir, "lastgood", "checkpoint-key"), nil
}

// signer reads the key, and makes it if there is none yet. It says to w where it
// made one: who loses it can sign no more in its name.
func (k keyFlag) signer(d kept, w io.Writer) (*checkpoint.Key, error) {
	path, err := k.keyFile(d)
	if err != nil || path == "" {
		if err == nil {
			return checkpoint.NewKey()
		}
		return nil, err
	}
	text, err := os.ReadFile(path)
	if errors.Is(err, fs.ErrNotExist) {
		return makeKey(path, w)
	}
	if err != nil {
		return nil, err
	}
	key, err := checkpoint.ParseFile(text)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	return key, nil
}

func makeKey(path string, w io.Writer) (*checkpoint.Key, error) {
	key, err := checkpoint.NewKey()
	if err != nil {
		return nil, err
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return nil, err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return nil, err
	}
	_, err = f.Write(key.File())
	if err := errors.Join(err, f.Sync(), f.Close()); err != nil {
		return nil, err
	}
	fmt.Fprintf(w, "made a key for checkpoints and packets: %s (keep a copy; its public half is printed by lastgood checkpoint key)\n", path)
	return key, nil
}

type checkpointKeyCmd struct {
	keyFlag
	kept
}

// Run prints the public key.
func (c *checkpointKeyCmd) Run(g *globals) error {
	if path, err := c.keyFile(c.kept); err != nil || path == "" {
		return errors.Join(err, usage{errors.New("say whose key: --data DIR, --database-url URL or --checkpoint-key FILE")})
	}
	key, err := c.signer(c.kept, g.err)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(g.out, key)
	return err
}

type checkpointAcceptCmd struct {
	Reason         string `required:"" help:"Why the log may go on from an older state: what happened, and who knows of it."`
	CheckpointFile string `required:"" type:"path" help:"The witness: the file that serve writes checkpoints to."`
	keyFlag
	plantFlag
}

// Run accepts the log of one plant as it is.
func (c *checkpointAcceptCmd) Run(g *globals) error {
	key, err := c.signer(c.kept, g.err)
	if err != nil {
		return err
	}
	seen, err := readWitness(c.CheckpointFile)
	if err != nil {
		return err
	}
	signed, there := seen[c.Plant]
	if !there {
		return usage{fmt.Errorf("%s has no checkpoint of plant %s", c.CheckpointFile, c.Plant)}
	}
	return c.with(g, func(s *store, sc pg.Scope) error {
		s.svc.SignWith(key)
		wrong, err := s.svc.CompareLog(g.ctx, signed)
		if err != nil {
			return err
		}
		if wrong == "" {
			return usage{errors.New("the log has not gone back: there is nothing to accept")}
		}
		if err := s.svc.AcceptLog(g.ctx, sc, signed, c.Reason); err != nil {
			return err
		}
		_, err = fmt.Fprintf(g.out, "accepted: %s\n", wrong)
		return err
	})
}

// A witness file has a line for each checkpoint, as JSON, added and flushed when
// it is signed. It only helps where whoever may change the database may not
// change the file: on another disk, or append-only.

type witnessed struct {
	Checkpoint string `json:"checkpoint"` // as it was signed
}

// readWitness returns the last checkpoint of each plant. There may be no file yet;
// a last line that was never finished counts for nothing.
func readWitness(path string) (map[string][]byte, error) {
	f, err := os.Open(path)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	defer f.Close()
	last, seen := map[string][]byte{}, map[string]checkpoint.Checkpoint{}
	r := bufio.NewReader(f)
	for n := 1; ; n++ {
		line, err := r.ReadBytes('\n')
		if err == io.EOF {
			return last, nil
		}
		if err != nil {
			return nil, err
		}
		if line = bytes.TrimSpace(line); len(line) == 0 {
			continue
		}
		var w witnessed
		if err := json.Unmarshal(line, &w); err != nil {
			return nil, fmt.Errorf("%s, line %d: it is no checkpoint", path, n)
		}
		c, err := checkpoint.Unchecked([]byte(w.Checkpoint))
		plant, _, ok := checkpoint.PlantOf(c.Origin)
		if err != nil || !ok {
			return nil, fmt.Errorf("%s, line %d: it is no checkpoint of a plant", path, n)
		}
		if was, there := seen[plant]; !there || was.Origin != c.Origin || was.Size < c.Size { // two may be added in either order
			seen[plant], last[plant] = c, []byte(w.Checkpoint)
		}
	}
}

// witnessTo returns what adds checkpoints to the witness file.
func witnessTo(path string) (func(signed []byte) error, error) {
	if path == "" {
		return nil, nil
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o600)
	if err != nil {
		return nil, err
	}
	if _, err := f.WriteString("\n"); err != nil { // ends a line that was never finished
		return nil, errors.Join(err, f.Close())
	}
	return func(signed []byte) error {
		line, err := json.Marshal(witnessed{string(signed)})
		if err != nil {
			return err
		}
		if _, err := f.Write(append(line, '\n')); err != nil {
			return err
		}
		return f.Sync()
	}, nil
}

// regressed compares the log of every plant with what the witness saw of it, and
// says what is wrong; empty: nothing.
func regressed(ctx context.Context, svc *workflow.Service, path string) (string, error) {
	if path == "" {
		return "", nil
	}
	seen, err := readWitness(path)
	if err != nil {
		return "", err
	}
	var all []string
	for _, signed := range seen {
		wrong, err := svc.CompareLog(ctx, signed)
		if err != nil {
			return "", err
		}
		if wrong != "" {
			all = append(all, wrong)
		}
	}
	return strings.Join(all, "; "), nil
}
