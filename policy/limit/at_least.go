package limit

// atLeastKind is the minimum that every reading must reach, 165 F in the core.
// Without max_gap the readings are single ones and stand for themselves.
var atLeastKind = Kind{
	Name: "at_least",
	Parameters: []Parameter{
		{Name: "temperature", Form: Temperature, Required: true},
		{Name: "max_gap", Form: Duration},
	},
	build: func(v Values) (Criterion, error) {
		return every{minimum(v.Temperature["temperature"]), micros(v, "max_gap")}, nil
	},
}
