package main

import (
	"fmt"
	"os"
	"strings"

	"golang.org/x/mod/sumdb/note"

	"lastgood/api/packet"
)

// verifyCmd checks a packet without a network or a database.
type verifyCmd struct {
	Packet string `arg:"" type:"existingfile" help:"The packet."`
	Key    string `required:"" help:"The verifier key of the plant, as lastgood checkpoint key prints it. Have it by other means than the packet."`
}

// Run checks the packet and says what is in it, or what was altered.
func (c *verifyCmd) Run(g *globals) error {
	key, err := note.NewVerifier(strings.TrimSpace(c.Key))
	if err != nil {
		return usage{fmt.Errorf("--key: %w", err)}
	}
	b, err := os.ReadFile(c.Packet)
	if err != nil {
		return err
	}
	r := packet.Verify(b, key)
	if len(r.Wrong) > 0 {
		for _, w := range r.Wrong {
			fmt.Fprintln(g.out, "altered:", w)
		}
		fmt.Fprintf(g.out, "%s is not as it was made.\n", c.Packet)
		g.code = exitTrouble
		return nil
	}
	fmt.Fprintf(g.out, "%s is as it was made: deviation %d of %s, %s.\n", c.Packet, r.Deviation, r.Plant, r.MadeAt)
	fmt.Fprintf(g.out, "%d entries of the trail, %d records with %d signatures, %d files.\n", r.Entries, r.Records, r.Signatures, r.Files)
	fmt.Fprintf(g.out, "Proven up to the checkpoint of %s at %d entries, root %s.\n", r.Checkpoint.Origin, r.Checkpoint.Size, r.Checkpoint.Root)
	if len(r.Unproven) > 0 {
		fmt.Fprintf(g.out, "Not proven, for they are newer: %s.\n", strings.Join(r.Unproven, ", "))
	}
	if r.Redacted {
		fmt.Fprintf(g.out, "Redacted: of %d entries and records only the hash is here; who made and signed them is not proven.\n", r.Hidden)
	}
	fmt.Fprintln(g.out, "The figures show whether limits were met after correction. Local regulation and a qualified person decide.")
	return nil
}
