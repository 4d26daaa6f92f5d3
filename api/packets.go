package api

import (
	"bytes"
	"context"
	"crypto/rand"
	"fmt"
	"io"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/api/packet"
	"lastgood/workflow"
	"lastgood/workflow/key"
)

func (s *server) registerPackets(api huma.API) {
	huma.Register(api, huma.Operation{OperationID: "make-packet", Method: http.MethodPost, Path: "/v1/deviations/{id}/packet",
		Summary: "Everything there is to show of a deviation, in one signed file", Security: needs(key.DeviationsRead, key.TrailRead),
		Description: "A zip with a report, the trail with proofs, the records that were signed, evidence, policy and readings. lastgood verify checks it offline. " +
			"That it was made is itself recorded.",
		Responses: asFile("application/zip")}, handle(s, s.makePacket))
}

func (s *server) makePacket(ctx context.Context, in *struct {
	DeviationPath
	Redacted bool `query:"redacted" doc:"Leave out the names of people and consignees. The proofs hold, and say less: NOT-INCLUDED.txt says what"`
}) (*huma.StreamResponse, error) {
	sc := scope(ctx, "")
	p, err := s.svc.Packet(ctx, sc, workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	var salt []byte
	name := fmt.Sprintf("deviation-%d-packet.zip", in.ID)
	if in.Redacted {
		salt = make([]byte, 32)
		if _, err := rand.Read(salt); err != nil {
			return nil, err
		}
		name = fmt.Sprintf("deviation-%d-packet-redacted.zip", in.ID)
	}
	return spooled(name, "application/zip", func(w io.Writer) error {
		digest, err := WritePacket(ctx, w, p, salt, s.svc.SignNote)
		if err != nil {
			return err
		}
		return s.svc.PacketMade(ctx, sc, workflow.DeviationID(in.ID), digest, salt)
	})
}

// WritePacket writes a packet, redacted if there is a salt to redact it with, and
// returns the digest of its manifest.
func WritePacket(ctx context.Context, w io.Writer, p workflow.Packet, salt []byte, sign func(string) ([]byte, error)) ([]byte, error) {
	c := packet.Contents{About: packet.About{Plant: p.Plant, Deviation: int64(p.Deviation.ID), MadeAt: packet.Moment(p.MadeAt), Redacted: salt != nil, Streams: []packet.Stream{}},
		Checkpoint: p.Checkpoint.Note, Records: []packet.Record{}}
	for _, name := range p.Streams {
		c.Streams = append(c.Streams, packet.Stream{Name: name, Entries: p.LastSeq(name)})
	}
	var redact *packet.Redactor
	if salt != nil {
		redact = packet.NewRedactor(salt, p.Names)
	}
	for _, e := range p.Entries {
		out := packet.Entry{Stream: e.Stream, Seq: e.Seq, Hash: e.Hash, Bytes: e.Body, Leaf: e.Leaf, Proof: hashes(e.Proof)}
		if redact != nil {
			out = redact.Entry(out, e.Person)
		}
		c.Entries = append(c.Entries, out)
	}
	for _, r := range p.Records {
		out := packetRecord(r)
		if redact != nil {
			out = redact.Record(out)
		}
		c.Records = append(c.Records, out)
	}
	var err error
	if c.Files, err = packetFiles(ctx, p, redact); err != nil {
		return nil, err
	}
	return c.Write(w, sign)
}

// packetFiles are the files that only the manifest and their own digests vouch
// for.
func packetFiles(ctx context.Context, p workflow.Packet, redact *packet.Redactor) (files []packet.File, err error) {
	add := func(name string, data []byte) {
		if redact != nil {
			data = redact.Bytes(data)
		}
		files = append(files, packet.File{Name: name, Data: data})
	}
	for _, e := range p.Evidence {
		if redact == nil { // nobody knows what stands in a paper
			files = append(files, packet.File{Name: fmt.Sprintf("evidence/%x", e.Digest), Data: e.Bytes})
		}
	}
	for _, v := range p.Policies {
		add(fmt.Sprintf("policy-%d.yaml", v.Number), v.Body)
	}
	for _, r := range p.Runs {
		add(fmt.Sprintf("run-%d.json", r.Number), r.Body)
	}
	tables := packetTables(ctx, p)
	for _, t := range tables {
		var b bytes.Buffer
		if err := t.csv(&b, redact); err != nil {
			return nil, err
		}
		add(t.file(), b.Bytes())
	}
	missing := notIncluded(p, redact != nil)
	report, err := packetReport(p, tables, missing, redact)
	if err != nil {
		return nil, err
	}
	files = append(files, packet.File{Name: "report.pdf", Data: report})
	add("NOT-INCLUDED.txt", []byte(missing))
	return files, nil
}
