package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/alecthomas/kong"
)

// cli is the command line.
type cli struct {
	Assess     assessCmd     `cmd:"" help:"Assess a case folder: what is in doubt, held and shipped."`
	Drill      drillCmd      `cmd:"" help:"Suppose that an instrument fails: what would be in doubt. Nothing is recorded."`
	Due        dueCmd        `cmd:"" help:"List the checks that are due in a running installation."`
	Demo       demoCmd       `cmd:"" help:"Show an invented plant on the day its thermometers fail, and serve it."`
	Serve      serveCmd      `cmd:"" help:"Serve the API on a kept or given database."`
	Import     importCmd     `cmd:"" help:"Load a case folder into a running installation."`
	Verify     verifyCmd     `cmd:"" help:"Check a packet offline: that no byte of it was altered, and what it proves."`
	Checkpoint checkpointCmd `cmd:"" help:"What the decision trail is signed by."`
	Plant      plantCmd      `cmd:"" help:"Plants of an installation."`
	Key        keyCmd        `cmd:"" help:"Keys by which plant systems call the API."`
	Person     personCmd     `cmd:"" help:"People of a plant: their roles, and how they sign in."`
	Policy     policyCmd     `cmd:"" help:"Policy documents: check one, try one on a case, print the built-in rules."`
	Limits     limitsCmd     `cmd:"" help:"Ready-made limits that a policy may name, with their sources."`
	Bench      benchCmd      `cmd:"" help:"Measure ingest and trace against plain PostgreSQL, in one run."`
}

// globals are what every command gets.
type globals struct {
	ctx context.Context
	*streams
	code int // the exit status of a command that did its work
}

// database is where a command keeps its rows.
type database struct {
	DatabaseURL string `name:"database-url" env:"LASTGOOD_DATABASE_URL" help:"Database of the application's role. Without it the program runs a private PostgreSQL."`
	OwnerURL    string `name:"owner-url" env:"LASTGOOD_OWNER_URL" help:"The same database by its owner's role, to migrate it; with --database-url."`
	PGBin       string `name:"pg-bin" env:"LASTGOOD_PG_BIN" help:"Folder of the PostgreSQL binaries for the private server."`
}

// kept is a database that may outlive the program.
type kept struct {
	Data string `name:"data" type:"path" help:"Folder in which the private PostgreSQL keeps its data. Without it everything is thrown away at the end."`
	database
}

// usage is an error of the command line.
type usage struct{ error }

func command(ctx context.Context, args []string, s *streams) int {
	var c cli
	g := &globals{ctx: ctx, streams: s}
	exit := -1
	parser, err := kong.New(&c, kong.Name("lastgood"), kong.Writers(s.out, s.err), kong.ShortUsageOnError(),
		kong.Description("HACCP deviations of thermometers: trace, assess, hold. It supports a decision and does not make one."),
		kong.Vars{"scopes": allScopes(), "roles": allRoles()}, kong.Exit(func(code int) { exit = code }), kong.Bind(g))
	if err != nil {
		fmt.Fprintln(s.err, "lastgood:", err)
		return exitTrouble
	}
	k, err := parser.Parse(args)
	if exit >= 0 { // --help
		return exit
	}
	if err == nil {
		err = k.Run(g)
	}
	if err == nil {
		return g.code
	}
	if ctx.Err() != nil { // whatever broke, broke because of that
		fmt.Fprintln(s.err, "lastgood: stopped before the end")
		return exitTrouble
	}
	fmt.Fprintln(s.err, "lastgood:", err)
	var parse *kong.ParseError
	if errors.As(err, &parse) || errors.As(err, new(usage)) {
		return exitBad
	}
	return exitTrouble
}
