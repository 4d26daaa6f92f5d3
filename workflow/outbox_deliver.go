package workflow

import (
	"bytes"
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"database/sql"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/netip"
	"strconv"
	"syscall"
	"time"

	"lastgood/workflow/actor"
	"lastgood/workflow/pg"
)

// SignWebhook returns the signature of a message, for the header
// webhook-signature.
//
//	v1,base64(HMAC-SHA256(secret, id "." timestamp "." body))
//
//	id         webhook-id: the same for every attempt
//	timestamp  webhook-timestamp: seconds since 1970-01-01T00:00:00Z of the attempt
//	body       the bytes as they are sent
//
// Source:  Standard Webhooks 1.0.0, signature scheme.
// Departs: nothing.
// Checked: the vector of its test suites.
func SignWebhook(secret []byte, id string, at time.Time, body []byte) string {
	mac := hmac.New(sha256.New, secret)
	fmt.Fprintf(mac, "%s.%d.", id, at.Unix())
	mac.Write(body)
	return "v1," + base64.StdEncoding.EncodeToString(mac.Sum(nil))
}

// deliveryTime is how long a receiver may take (Standard Webhooks 1.0.0: 15 to
// 30 s).
const deliveryTime = 20 * time.Second

// newSender returns the client by which messages are sent. It follows no
// redirect and uses no proxy: the address that it dials is the one that is
// looked at.
func newSender(private bool) *http.Client {
	dialer := &net.Dialer{Timeout: deliveryTime}
	if !private {
		dialer.Control = func(_, address string, _ syscall.RawConn) error {
			to, err := netip.ParseAddrPort(address)
			if err != nil || !public(to.Addr()) {
				return errNotPublic
			}
			return nil
		}
	}
	return &http.Client{Timeout: deliveryTime, Transport: &http.Transport{DialContext: dialer.DialContext, TLSHandshakeTimeout: deliveryTime,
		MaxIdleConns: 10, IdleConnTimeout: time.Minute}, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
}

var errNotPublic = errors.New("the address is not a public one")

// inside are addresses that a stranger must not make us call, besides those that
// package netip knows: this network, carrier networks, protocol assignments,
// benchmarks, and the reserved end; and IPv6 forms that carry an IPv4 address (IANA special-purpose
// address registries).
var inside = []netip.Prefix{
	netip.MustParsePrefix("0.0.0.0/8"), netip.MustParsePrefix("100.64.0.0/10"), netip.MustParsePrefix("192.0.0.0/24"),
	netip.MustParsePrefix("198.18.0.0/15"), netip.MustParsePrefix("240.0.0.0/4"), netip.MustParsePrefix("64:ff9b::/96"),
	netip.MustParsePrefix("64:ff9b:1::/48"), netip.MustParsePrefix("2001::/32"), netip.MustParsePrefix("2002::/16"), netip.MustParsePrefix("fec0::/10"),
}

// public says whether an address may be called: one that was resolved, so that no
// name hides it.
func public(a netip.Addr) bool {
	a = a.Unmap()
	if !a.IsGlobalUnicast() || a.IsPrivate() || a.IsLoopback() || a.IsLinkLocalUnicast() {
		return false
	}
	for _, p := range inside {
		if p.Contains(a.WithZone("")) {
			return false
		}
	}
	return true
}

// message is what a job delivers.
type message struct {
	URL    string `db:"url"`
	Secret []byte `db:"secret"`
	Body   []byte `db:"body"`
}

// deliver sends an event to a webhook that still wants it and has not got it. The
// receiver may get it twice, with the same webhook-id, when the answer is lost.
func (s *Service) deliver(ctx context.Context, sender *http.Client, j deliverJob) error {
	sc := pg.Scope{Plant: j.Plant, By: actor.Engine, Cause: "outbox"}
	m, err := ask(ctx, s, sc, func(tx *pg.Tx) (m message, err error) {
		const q = `select w.url, w.secret, e.body from webhook w join outbox_event e on e.plant_id = w.plant_id
			where w.plant_id = $1 and w.webhook_id = $2 and e.event_id = $3 and w.removed_at is null and w.disabled_at is null
			and not exists (select from webhook_delivery d where d.plant_id = $1 and d.webhook_id = $2 and d.event_id = $3)`
		return m, tx.GetContext(ctx, &m, q, tx.Plant, j.Webhook, j.Event)
	})
	if errors.Is(err, sql.ErrNoRows) {
		return nil
	}
	if err != nil {
		return err
	}
	status, why := send(ctx, sender, m, fmt.Sprintf("msg_%d_%d", j.Plant, j.Event))
	if err := s.db.InTx(context.WithoutCancel(ctx), sc, func(tx *pg.Tx) error { return noteDelivery(ctx, tx, j, status, why) }); err != nil {
		return err
	}
	if status == http.StatusGone {
		return nil
	}
	return why
}

// send sends one message and returns what was answered, 0 for nothing, and why
// it did not arrive.
func send(ctx context.Context, sender *http.Client, m message, id string) (status int, why error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, m.URL, bytes.NewReader(m.Body))
	if err != nil {
		return 0, errors.New("the address cannot be called")
	}
	now := time.Now() // of the attempt, which the receiver compares with its own clock
	req.Header.Set("Content-Type", "application/cloudevents+json")
	req.Header.Set("Webhook-Id", id)
	req.Header.Set("Webhook-Timestamp", strconv.FormatInt(now.Unix(), 10))
	req.Header.Set("Webhook-Signature", SignWebhook(m.Secret, id, now, m.Body))
	res, err := sender.Do(req)
	switch {
	case errors.Is(err, errNotPublic):
		return 0, errNotPublic
	case err != nil: // what exactly is nobody's business who can only name an address
		return 0, errors.New("the receiver cannot be reached")
	}
	defer res.Body.Close()
	_, _ = io.CopyN(io.Discard, res.Body, 64<<10) // so that the connection can be used again
	if res.StatusCode < 200 || res.StatusCode > 299 {
		return res.StatusCode, fmt.Errorf("the receiver answered with status %d", res.StatusCode)
	}
	return res.StatusCode, nil
}

// noteDelivery records that a message arrived, or since when none does. 410 Gone
// ends the webhook.
func noteDelivery(ctx context.Context, tx *pg.Tx, j deliverJob, status int, why error) error {
	if why == nil {
		const arrived = `
with d as (insert into webhook_delivery (plant_id, webhook_id, event_id, delivered_at, status) values ($1, $2, $3, $4, $5) on conflict do nothing)
update webhook set failing_since = null, last_failure = null where plant_id = $1 and webhook_id = $2 and failing_since is not null`
		_, err := tx.ExecContext(ctx, arrived, tx.Plant, j.Webhook, j.Event, tx.Now, status)
		return err
	}
	const failed = `update webhook set failing_since = coalesce(failing_since, $3), last_failure = $4,
		disabled_at = case when $5 then coalesce(disabled_at, $3) else disabled_at end where plant_id = $1 and webhook_id = $2`
	_, err := tx.ExecContext(ctx, failed, tx.Plant, j.Webhook, tx.Now, why.Error(), status == http.StatusGone)
	return err
}
