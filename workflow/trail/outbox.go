package trail

import (
	"context"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"lastgood/workflow/pg"
)

// Event is what plant systems are told: a CloudEvents 1.0 document. It says where
// in the trail the rest stands, and whoever wants to read that asks with a key:
// what a deviation holds is not for everyone who hears that there is one.
type Event struct {
	SpecVersion     string    `json:"specversion"`
	ID              string    `json:"id"`
	Source          string    `json:"source"`
	Type            string    `json:"type"`
	Subject         string    `json:"subject"`
	Time            time.Time `json:"time"`         // when it happened
	RecordedTime    time.Time `json:"recordedtime"` // when it was recorded
	DataContentType string    `json:"datacontenttype"`
	Data            EventData `json:"data"`
}

// EventData names the entry of the trail.
type EventData struct {
	Entry   int64  `json:"entry"` // its number in the plant
	Stream  string `json:"stream"`
	Seq     int64  `json:"seq"`
	Action  string `json:"action"`
	Subject string `json:"subject"`
	Version int    `json:"version,omitzero"`
}

// EventTypes are the types of all events.
var EventTypes = []string{
	"lastgood.deviation.opened.v1", "lastgood.deviation.state_changed.v1",
	"lastgood.hold.placed.v1", "lastgood.hold.acknowledged.v1", "lastgood.hold.lifted.v1", "lastgood.hold.escalated.v1",
	"lastgood.hold.moved.v1",
}

// eventType returns the type of event that an action is; empty: plant systems are
// not told.
func eventType(action string) string {
	if t := "lastgood." + action + ".v1"; slices.Contains(EventTypes, t) {
		return t
	}
	if strings.HasPrefix(action, "deviation.") {
		return "lastgood.deviation.state_changed.v1"
	}
	return ""
}

// tell puts an entry into the outbox, if it is something that plant systems are
// told.
func tell(ctx context.Context, tx *pg.Tx, r Record, entry int64) error {
	kind := eventType(r.Action)
	if kind == "" {
		return nil
	}
	var plant string
	if err := tx.GetContext(ctx, &plant, `select name from plant where plant_id = $1`, tx.Plant); err != nil {
		return fmt.Errorf("outbox: %w", err)
	}
	e := Event{SpecVersion: "1.0", ID: fmt.Sprintf("%s/%d", r.Stream, r.Seq), Source: "lastgood:plants/" + url.PathEscape(plant), Type: kind,
		Subject: r.Stream, Time: r.HappenedAt, RecordedTime: r.RecordedAt, DataContentType: "application/json",
		Data: EventData{entry, r.Stream, r.Seq, r.Action, r.Subject, r.Version}}
	body, err := json.Marshal(e, json.Deterministic(true))
	if err != nil {
		return fmt.Errorf("outbox: %w", err)
	}
	const add = `with e as (
		insert into outbox_event (plant_id, entry_id, type, subject, body, recorded_at) values ($1, $2, $3, $4, $5, $6)
		returning plant_id, event_id)
		insert into outbox_pending (plant_id, event_id) select plant_id, event_id from e`
	if _, err := tx.ExecContext(ctx, add, tx.Plant, entry, kind, r.Stream, body, tx.Now); err != nil {
		return fmt.Errorf("outbox: %w", err)
	}
	return nil
}
