package workflow

import (
	"context"
	"crypto/rand"
	"fmt"
	"net/url"
	"slices"
	"time"

	"github.com/go-json-experiment/json/jsontext"
	"github.com/lib/pq"

	"lastgood/workflow/actor"
	"lastgood/workflow/fault"
	"lastgood/workflow/job"
	"lastgood/workflow/pg"
	"lastgood/workflow/trail"
)

// Webhook is to whom events are sent.
type Webhook struct {
	ID        int64          `db:"webhook_id"`
	URL       string         `db:"url"`
	Events    pq.StringArray `db:"events"` // types; empty: all
	CreatedAt time.Time      `db:"created_at"`
	CreatedBy string         `db:"created_by"`
	// DisabledAt is since when the receiver wants nothing more: it said that it is
	// gone.
	DisabledAt *time.Time `db:"disabled_at"`
	// FailingSince is since when nothing arrives; nil: the last message did.
	FailingSince *time.Time `db:"failing_since"`
	LastFailure  *string    `db:"last_failure"`
	Secret       []byte     `db:"secret" json:"-"`
}

const webhooks = `select webhook_id, url, events, created_at, created_by, disabled_at, failing_since, last_failure, secret
	from webhook where plant_id = $1 and removed_at is null and `

// secretSize is how many random bytes a secret has: from 24 to 64 (Standard
// Webhooks 1.0.0, signature scheme).
const secretSize = 32

// AddWebhook lets events of some types be sent to an address, of all types where
// none is named, from now on. It returns the secret by which every message is
// signed.
func (s *Service) AddWebhook(ctx context.Context, sc pg.Scope, address string, types []string) (Webhook, error) {
	if err := checkWebhook(address, types); err != nil {
		return Webhook{}, err
	}
	request := map[string]any{"url": address, "events": types}
	id, err := do(ctx, s, sc, "add webhook", request, statusCreated, func(tx *pg.Tx) (id int64, err error) {
		secret := make([]byte, secretSize)
		if _, err := rand.Read(secret); err != nil {
			return 0, err
		}
		const add = `insert into webhook (plant_id, url, events, secret, created_at, created_by)
			values ($1, $2, $3, $4, $5, $6) returning webhook_id`
		if types == nil {
			types = []string{}
		}
		if err := tx.GetContext(ctx, &id, add, tx.Plant, address, pq.Array(types), secret, tx.Now, tx.By.ID); err != nil {
			return 0, fmt.Errorf("webhook: %w", err)
		}
		return id, trail.Append(ctx, tx, trail.Entry{Stream: "administration", Action: "webhook.added", Subject: fmt.Sprint(id),
			After: map[string]any{"url": address, "events": types}})
	})
	if err != nil {
		return Webhook{}, err
	}
	return ask(ctx, s, sc, func(tx *pg.Tx) (w Webhook, err error) {
		return w, tx.GetContext(ctx, &w, webhooks+`webhook_id = $2`, tx.Plant, id)
	})
}

func checkWebhook(address string, types []string) error {
	u, err := url.Parse(address)
	switch {
	case err != nil || u.Scheme != "https" && u.Scheme != "http" || u.Hostname() == "" || u.Fragment != "":
		return fault.New(fault.Invalid, "bad-url", "write the whole address, as in https://plant.example/events").In("url")
	case u.User != nil:
		return fault.New(fault.Invalid, "bad-url", "leave the password out of the address: messages are signed").In("url")
	}
	for _, t := range types {
		if !slices.Contains(trail.EventTypes, t) {
			return fault.New(fault.Invalid, "unknown-word", "there is no type of event %s; there are %s", t, fault.Words(trail.EventTypes)).In("events")
		}
	}
	return nil
}

// Webhooks returns the plant's webhooks in order of number.
func (s *Service) Webhooks(ctx context.Context, sc pg.Scope, after int64, limit int) ([]Webhook, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Webhook, error) {
		list := []Webhook{}
		return list, tx.SelectContext(ctx, &list, webhooks+`webhook_id > $2 order by webhook_id limit $3`, tx.Plant, after, limit)
	})
}

// RemoveWebhook ends a webhook: nothing more is sent to it.
func (s *Service) RemoveWebhook(ctx context.Context, sc pg.Scope, id int64) error {
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		const end = `update webhook set removed_at = $3, removed_by = $4 where plant_id = $1 and webhook_id = $2 and removed_at is null`
		res, err := tx.ExecContext(ctx, end, tx.Plant, id, tx.Now, tx.By.ID)
		if err != nil {
			return fmt.Errorf("webhook: %w", err)
		}
		if n, _ := res.RowsAffected(); n == 0 {
			return fault.New(fault.NotFound, "unknown-webhook", "there is no webhook %d", id)
		}
		return trail.Append(ctx, tx, trail.Entry{Stream: "administration", Action: "webhook.removed", Subject: fmt.Sprint(id)})
	})
}

// Published is an event with its place among all of the plant's.
type Published struct {
	Position int64          `db:"position"`
	Body     jsontext.Value `db:"body"` // the CloudEvents document as it was sent
}

// PublishedEvents returns up to limit events after a position, in order. Whoever goes on
// from the last one misses none.
func (s *Service) PublishedEvents(ctx context.Context, sc pg.Scope, after int64, limit int) ([]Published, error) {
	return ask(ctx, s, sc, func(tx *pg.Tx) ([]Published, error) {
		list := []Published{}
		const q = `select position, body from outbox_position join outbox_event using (plant_id, event_id)
			where plant_id = $1 and position > $2 order by position limit $3`
		return list, tx.SelectContext(ctx, &list, q, tx.Plant, after, limit)
	})
}

// mostRelayed is how many events are given a position in one transaction.
const mostRelayed = 500

// relay gives the events of a plant that have none a position, and makes a job for
// each webhook that wants one, all in one transaction. It runs after the commands
// have committed, one at a time in a plant, so that positions follow one another
// as the events became visible. A webhook is sent what is relayed while it stands.
func (s *Service) relay(ctx context.Context, plant pg.PlantID) error {
	sc := pg.Scope{Plant: plant, By: actor.Engine, Cause: "outbox"}
	return s.db.InTx(ctx, sc, func(tx *pg.Tx) error {
		if err := tx.OwnOutbox(ctx); err != nil {
			return err
		}
		var fresh []struct {
			ID   int64  `db:"event_id"`
			Type string `db:"type"`
		}
		const place = `
with last as (select coalesce(max(position), 0) as at from outbox_position where plant_id = $1),
p as (select event_id, row_number() over (order by event_id) as n from (
  select event_id from outbox_pending where plant_id = $1 order by event_id limit $2) x),
gone as (delete from outbox_pending o using p where o.plant_id = $1 and o.event_id = p.event_id),
put as (insert into outbox_position (plant_id, position, event_id) select $1, last.at + p.n, p.event_id from p, last returning event_id)
select e.event_id, e.type from put join outbox_event e on e.plant_id = $1 and e.event_id = put.event_id order by e.event_id`
		if err := tx.SelectContext(ctx, &fresh, place, tx.Plant, mostRelayed); err != nil {
			return fmt.Errorf("outbox: %w", err)
		}
		var hooks []Webhook
		if err := tx.SelectContext(ctx, &hooks, webhooks+`disabled_at is null order by webhook_id`, tx.Plant); err != nil {
			return fmt.Errorf("outbox: %w", err)
		}
		var jobs []job.Args
		for _, e := range fresh {
			for _, w := range hooks {
				if len(w.Events) == 0 || slices.Contains(w.Events, e.Type) {
					jobs = append(jobs, deliverJob{plant, w.ID, e.ID})
				}
			}
		}
		return job.Insert(ctx, tx, jobs)
	})
}
