// Package actor says who acts. It holds no SQL.
package actor

import "time"

// Kind is what sort of actor it is.
type Kind string

// The kinds of actor. A key never signs; the system never decides.
const (
	Person Kind = "person"
	Key    Kind = "key"
	System Kind = "system"
)

// Actor is whoever is answerable for a command.
type Actor struct {
	ID   string // as printed in the trail; of a person, their code
	Kind Kind
	// AuthenticatedAt is when a person last proved who they are; zero for all
	// others. A signature needs it to be recent.
	AuthenticatedAt time.Time
	Session         string // of a person: the session's public name
}

// Engine is the program itself, acting by rule.
var Engine = Actor{ID: "lastgood", Kind: System}
