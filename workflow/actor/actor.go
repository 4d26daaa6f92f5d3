// Package actor says who acts. It holds no SQL.
package actor

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
	ID   string // as printed in the trail
	Kind Kind
}

// Engine is the program itself, acting by rule.
var Engine = Actor{ID: "lastgood", Kind: System}
