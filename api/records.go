package api

import (
	"context"
	"encoding/hex"
	"fmt"
	"net/http"
	"strconv"

	"github.com/danielgtaylor/huma/v2"
	"github.com/go-json-experiment/json"

	"lastgood/workflow"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/signoff"
)

// RecordHead is the newest version of something that people sign.
type RecordHead struct {
	Kind      string     `json:"kind"`
	ID        int64      `json:"id"`
	Version   int        `json:"version"`
	Deviation *int64     `json:"deviation" doc:"null: it belongs to none"`
	Subjects  []string   `json:"subjects" doc:"What it is about; empty: all of the deviation"`
	SHA256    string     `json:"sha256" doc:"Of this version: sign it by this"`
	MadeAt    string     `json:"made_at"`
	MadeBy    string     `json:"made_by"`
	Reason    *string    `json:"reason" doc:"Why there is a new version; null: it is the first"`
	Seats     []SeatBody `json:"seats" doc:"Who signs, in their order"`
	WaitsFor  *string    `json:"waits_for" doc:"The role that signs next; null: everyone has signed, or nobody has to"`
	Complete  bool       `json:"complete" doc:"Everyone has signed this version"`
}

// SeatBody is one who signs, with the signature if it is there.
type SeatBody struct {
	Role      string         `json:"role"`
	Meaning   string         `json:"meaning" doc:"Of the signature, a sentence without its subject"`
	Signature *SignatureBody `json:"signature" doc:"null: not signed yet"`
}

// SignatureBody is a signature, with the name and the title of that day.
type SignatureBody struct {
	Person          string   `json:"person"`
	Name            string   `json:"name"`
	Title           string   `json:"title"`
	Role            string   `json:"role"`
	Meaning         string   `json:"meaning"`
	Qualification   *string  `json:"qualification"`
	For             []string `json:"stands_in_for" doc:"Empty: the role was their own"`
	Note            *string  `json:"note"`
	SignedAt        string   `json:"signed_at"`
	AuthenticatedAt string   `json:"authenticated_at" doc:"When they had last given their password"`
}

// RecordBody is a record with all its versions.
type RecordBody struct {
	RecordHead
	Bytes   []byte           `json:"bytes" doc:"Canonical JSON, byte for byte as it was digested"`
	Content any              `json:"content" doc:"The same, to be read"`
	Earlier []EarlierVersion `json:"earlier" doc:"Versions before this one, the first one first: what was signed stays to be seen"`
}

// EarlierVersion is a version that another one took the place of.
type EarlierVersion struct {
	Version    int             `json:"version"`
	SHA256     string          `json:"sha256"`
	MadeAt     string          `json:"made_at"`
	MadeBy     string          `json:"made_by"`
	Bytes      []byte          `json:"bytes"`
	Signatures []SignatureBody `json:"signatures"`
	Says       string          `json:"says" example:"signed version 1; current version 2"`
}

// RecordPath names a record.
type RecordPath struct {
	Kind string `path:"kind" maxLength:"50"`
	ID   int64  `path:"id" minimum:"1"`
}

type recordAnswer struct {
	ETag string `header:"ETag"`
	Body RecordBody
}

// toSign answers a command that puts something up for signing.
type toSign struct{ Body RecordHead }

func (s *server) registerRecords(api huma.API) {
	// Who only signs sees what there is to sign, and no more of the deviation.
	signers := append(needs(key.DeviationsRead), needsPerson(recordsSign)...)
	huma.Register(api, huma.Operation{OperationID: "list-records", Method: http.MethodGet, Path: "/v1/deviations/{id}/records",
		Summary: "What is signed of a deviation, by whom, and who has still to", Security: needs(key.DeviationsRead)}, handle(s, s.listRecords))
	huma.Register(api, huma.Operation{OperationID: "get-record", Method: http.MethodGet, Path: "/v1/records/{kind}/{id}",
		Summary: "A record exactly as it is signed, with its signatures and its earlier versions", Security: signers}, handle(s, s.getRecord))
}

func recordHead(r signoff.Record) RecordHead {
	h := RecordHead{Kind: string(r.Kind), ID: r.ID, Version: r.Version, Subjects: append([]string{}, r.Subjects...), SHA256: hex.EncodeToString(r.Digest),
		MadeAt: clock(r.MadeAt), MadeBy: r.MadeBy, Reason: orNull(r.Reason), Seats: seatBodies(r.Seats), Complete: r.Complete()}
	if r.Version == 1 {
		h.Reason = nil // why it would change, which it has not
	}
	if r.Deviation != 0 {
		h.Deviation = &r.Deviation
	}
	for _, sig := range r.Signatures {
		b := signatureBody(sig)
		h.Seats[sig.Seat].Signature = &b
	}
	if open := r.Open(); len(open) > 0 {
		h.WaitsFor = orNull(string(open[0].Role))
	}
	return h
}

// seatBodies are seats that nobody has signed yet.
func seatBodies(list []signoff.Seat) []SeatBody {
	out := make([]SeatBody, len(list))
	for i, s := range list {
		out[i] = SeatBody{Role: string(s.Role), Meaning: s.Meaning}
	}
	return out
}

func recordOrNull(r *signoff.Record) *RecordHead {
	if r == nil {
		return nil
	}
	h := recordHead(*r)
	return &h
}

func signatureBody(s signoff.Signature) SignatureBody {
	return SignatureBody{s.Person, s.Name, s.Title, string(s.Role), s.Meaning, orNull(s.Qualification), append([]string{}, s.For...), orNull(s.Note),
		clock(s.SignedAt), clock(s.AuthenticatedAt)}
}

func (s *server) listRecords(ctx context.Context, in *struct {
	DeviationPath
	Paging
}) (*listed[RecordHead], error) {
	list, err := s.svc.RecordsOf(ctx, scope(ctx, ""), workflow.DeviationID(in.ID))
	if err != nil {
		return nil, err
	}
	return recordPage(list, in.Paging, fmt.Sprintf("/v1/deviations/%d/records", in.ID))
}

// recordPage is one page of records, in the order in which they come; a cursor
// names the last record of the page before.
func recordPage(list []signoff.Record, p Paging, path string) (*listed[RecordHead], error) {
	after, err := p.after()
	if err != nil {
		return nil, err
	}
	items := []RecordHead{}
	skip := after != ""
	for _, r := range list {
		h := recordHead(r)
		if !skip {
			items = append(items, h)
		}
		skip = skip && recordName(h) != after
	}
	if skip {
		return nil, fault.New(fault.Invalid, "bad-cursor", "the record that the page before ended with is not in this list any more: begin again").In("query.cursor")
	}
	return page(items, p, path, nil, recordName), nil
}

func recordName(h RecordHead) string { return h.Kind + "/" + strconv.FormatInt(h.ID, 10) }

func (s *server) getRecord(ctx context.Context, in *RecordPath) (*recordAnswer, error) {
	list, err := s.svc.RecordVersions(ctx, scope(ctx, ""), signoff.Kind(in.Kind), in.ID)
	if err != nil {
		return nil, err
	}
	now := list[len(list)-1]
	b := RecordBody{RecordHead: recordHead(now), Bytes: now.Body, Earlier: []EarlierVersion{}}
	if err := json.Unmarshal(now.Body, &b.Content); err != nil {
		return nil, err
	}
	for _, r := range list[:len(list)-1] {
		b.Earlier = append(b.Earlier, earlierVersion(r, now.Version))
	}
	return &recordAnswer{etag(now.Version), b}, nil
}

func earlierVersion(r signoff.Record, current int) EarlierVersion {
	v := EarlierVersion{r.Version, hex.EncodeToString(r.Digest), clock(r.MadeAt), r.MadeBy, r.Body, []SignatureBody{}, ""}
	verb := "nobody signed"
	if len(r.Signatures) > 0 {
		verb = "signed"
	}
	v.Says = fmt.Sprintf("%s version %d; current version %d", verb, r.Version, current)
	for _, sig := range r.Signatures {
		v.Signatures = append(v.Signatures, signatureBody(sig))
	}
	return v
}
