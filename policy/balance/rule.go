package balance

import (
	"cmp"
	"fmt"
	"math/big"
	"slices"
	"strings"
)

// Rule is the stable name of one rule of the balance.
type Rule string

// The rules, by the clause they belong to.
const (
	LotNotBalanced  Rule = "lot-not-balanced"
	DoubtExceedsLot Rule = "in-doubt-exceeds-lot"

	ProposalsNotWhole Rule = "proposals-not-whole"     // M1
	NoDisposition     Rule = "no-disposition"          // M1
	Overlap           Rule = "portions-overlap"        // M1
	NotToldApart      Rule = "portions-not-told-apart" // M1
	MarkNotUsable     Rule = "mark-not-usable"         // M1
	DoubtNotCovered   Rule = "in-doubt-not-covered"    // M1

	Negative     Rule = "quantity-negative" // M2
	NotAQuantity Rule = "not-a-quantity"    // M2
	PortionTwice Rule = "portion-twice"     // M2

	ReworkNotReceived Rule = "rework-not-received" // M3
	ReworkNotFollowed Rule = "rework-not-followed" // M3

	NoConversion        Rule = "no-conversion"        // M4
	ConversionsDisagree Rule = "conversions-disagree" // M4

	SourcesDisagree Rule = "sources-disagree" // M5

	Unaccounted      Rule = "unaccounted"       // M6
	ExecutionDiffers Rule = "execution-differs" // M6
	NotExecuted      Rule = "not-executed"      // M6
	NoReason         Rule = "no-reason"         // M6

	RetrievedUndecided Rule = "retrieved-undecided" // M7
)

// Stage is what a finding stands in the way of.
type Stage string

// The stages. What blocks proposing blocks closing too.
const (
	Proposing Stage = "proposing"
	Closing   Stage = "closing"
)

// row is one rule: the clause of the design notes on the procedure, §8, what it
// blocks, and the code that a refused closing gives (§9 there).
type row struct {
	rule   Rule
	clause string
	blocks Stage
	code   string
}

const (
	massBalance         = "mass_balance"
	noDisposition       = "no_disposition"
	retrievedUndisposed = "retrieved_undisposed"
)

var rows = []row{
	{LotNotBalanced, "lot", Closing, massBalance},
	{DoubtExceedsLot, "lot", Proposing, massBalance},
	{ProposalsNotWhole, "M1", Proposing, noDisposition},
	{NoDisposition, "M1", Proposing, noDisposition},
	{Overlap, "M1", Proposing, massBalance},
	{NotToldApart, "M1", Proposing, massBalance},
	{MarkNotUsable, "M1", Proposing, massBalance},
	{DoubtNotCovered, "M1", Proposing, noDisposition},
	{Negative, "M2", Proposing, massBalance},
	{NotAQuantity, "M2", Proposing, massBalance},
	{PortionTwice, "M2", Proposing, massBalance},
	{ReworkNotReceived, "M3", Closing, massBalance},
	{ReworkNotFollowed, "M3", Proposing, massBalance},
	{NoConversion, "M4", Proposing, massBalance},
	{ConversionsDisagree, "M4", Proposing, massBalance},
	{SourcesDisagree, "M5", Proposing, massBalance},
	{Unaccounted, "M6", Closing, massBalance},
	{ExecutionDiffers, "M6", Closing, massBalance},
	{NotExecuted, "M6", Closing, massBalance},
	{NoReason, "M6", Closing, massBalance},
	{RetrievedUndecided, "M7", Closing, retrievedUndisposed},
}

// Imbalance is one finding: a rule that the ledger breaks, and where.
type Imbalance struct {
	Rule   Rule
	Clause string   // M1 to M7, or lot for the sum of the lot
	Blocks Stage    // what it stands in the way of
	Code   string   // why a deviation with it cannot be closed
	About  []string // the portions, entries or units at fault
	Detail string   // a sentence with the numbers in it
	// Numbers are those of the sentence, exact and in the unit of the ledger.
	Numbers []Number
}

// Number is one figure of a finding.
type Number struct {
	Name   string
	Amount *big.Rat
}

// compare orders figures by amount, then by name.
func (n Number) compare(m Number) int {
	return cmp.Or(n.Amount.Cmp(m.Amount), strings.Compare(n.Name, m.Name))
}

// find adds a finding.
func (b *book) find(rule Rule, about []string, numbers []Number, format string, args ...any) {
	r := rows[slices.IndexFunc(rows, func(r row) bool { return r.rule == rule })]
	b.found = append(b.found, Imbalance{
		Rule: rule, Clause: r.clause, Blocks: r.blocks, Code: r.code,
		About: about, Detail: fmt.Sprintf(format, args...), Numbers: numbers,
	})
}

// sorted returns the findings in the order of the rules, each once. The order in
// which a ledger lists its rows says nothing and changes nothing.
func (b *book) sorted() []Imbalance {
	place := func(i Imbalance) int {
		return slices.IndexFunc(rows, func(r row) bool { return r.rule == i.Rule })
	}
	slices.SortFunc(b.found, func(x, y Imbalance) int {
		return cmp.Or(cmp.Compare(place(x), place(y)), slices.Compare(x.About, y.About), strings.Compare(x.Detail, y.Detail))
	})
	return slices.CompactFunc(b.found, func(x, y Imbalance) bool {
		return x.Rule == y.Rule && x.Detail == y.Detail && slices.Equal(x.About, y.About)
	})
}
