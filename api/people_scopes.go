package api

import (
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"lastgood/policy/disposition"
	"lastgood/workflow/fault"
	"lastgood/workflow/key"
	"lastgood/workflow/person"
)

// Scopes that only people have, and no key: to administer people; to record whether
// what was done had its effect; and to register instruments and the certificates of
// references. Plant systems do the last by facts:write, with which the floor records
// what happened; but whoever works by a tolerance does not set it.
const (
	peopleWrite      key.Scope = "people:write"
	effectWrite      key.Scope = "effect:write"
	instrumentsWrite key.Scope = "instruments:write"
)

// The scopes that several roles have.
var (
	onTheFloor = []key.Scope{key.FactsRead, key.FactsWrite, key.ReadingsWrite, key.DeviationsRead, key.HoldsWrite, key.ShipAsk}
	deciding   = []key.Scope{key.FactsRead, key.DeviationsRead, key.DeviationsWrite, effectWrite, key.HoldsWrite, key.TrailRead, recordsSign}
	planning   = append(slices.Clone(deciding), key.PolicyWrite)
	// Who reviews or verifies decides nothing and puts no decision up, of which they
	// would then be kept from verifying it.
	reviewing = []key.Scope{key.FactsRead, key.DeviationsRead, key.HoldsWrite, key.TrailRead, recordsSign}
)

// scopesOfRole says what somebody may do by each of their roles. Anyone who works
// in the plant may place a hold (design notes on signing, E-053). A technician does
// not see what hangs on a check before its values are locked (design notes on the
// people, §5), and an inspector reads.
var scopesOfRole = map[disposition.Role][]key.Scope{
	disposition.Operator:              onTheFloor,
	disposition.LineSupervisor:        append(slices.Clone(onTheFloor), recordsSign),
	disposition.CalibrationTechnician: {key.FactsRead, key.ChecksWrite, instrumentsWrite, key.HoldsWrite, recordsSign},
	disposition.QALead: {key.FactsRead, key.FactsWrite, instrumentsWrite, key.ReadingsWrite, key.ChecksWrite, key.DeviationsRead, key.DeviationsWrite, effectWrite,
		key.HoldsWrite, key.TrailRead, key.ShipAsk, recordsSign},
	disposition.QualifiedPerson:   planning,
	disposition.PlantManager:      planning,
	disposition.ProcessAuthority:  deciding,
	disposition.RegulatoryLiaison: deciding,
	disposition.Verifier:          append(slices.Clone(reviewing), effectWrite),
	disposition.Reviewer:          reviewing,
	disposition.Inspector:         {key.FactsRead, key.DeviationsRead, key.TrailRead},
	disposition.Administrator:     {peopleWrite},
}

// admit refuses a person of whose roles none opens an operation.
func admit(session person.Session, op *huma.Operation) error {
	var missing string
	for _, way := range op.Security {
		scopes, ok := way[sessionScheme]
		if !ok {
			continue
		}
		lacks := slices.IndexFunc(scopes, func(s string) bool { return !may(session, key.Scope(s)) })
		if lacks < 0 {
			return nil
		}
		if missing == "" {
			missing = scopes[lacks]
		}
	}
	return fault.New(fault.Forbidden, "scope-missing", "%s %s, which does not include %s", session.Code, actsAs(session), missing)
}

// may says whether one of the roles of a session has a scope.
func may(session person.Session, s key.Scope) bool {
	return slices.ContainsFunc(session.Roles, func(a person.Acting) bool { return slices.Contains(scopesOfRole[a.Role], s) })
}

func actsAs(session person.Session) string {
	if len(session.Roles) == 0 {
		return "holds no role now"
	}
	roles := make([]string, len(session.Roles))
	for i, a := range session.Roles {
		roles[i] = string(a.Role)
	}
	return "acts as " + strings.Join(slices.Compact(roles), ", ")
}
