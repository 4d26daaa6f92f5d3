package workflow

import (
	"database/sql"
	"fmt"
	"slices"
	"strings"
	"testing"

	"lastgood/workflow/pg"
)

// columnValues lists what a made-up row needs of a table: each column that must
// have a value, and one of its type.
const columnValues = `select column_name || ' ' || case when column_name = 'plant_id' then '%d' else case data_type
	when 'text' then '''x''' when 'bytea' then '''\x00''' when 'boolean' then 'false' when 'timestamp with time zone' then 'now()'
	when 'ARRAY' then '''{}''' when 'jsonb' then '''{}''' when 'tstzrange' then '''empty''' else '1' end end
	from information_schema.columns where table_name = '%s' and (is_nullable = 'NO' or column_name = 'plant_id') order by ordinal_position`

// fillTheRest writes a made-up row, past all rules, into every table that no story
// here has filled: whose rows are seen does not hang on what they say.
func fillTheRest(t *testing.T, db *sql.DB, plant pg.PlantID, tables []string) {
	t.Helper()
	conn, err := db.Conn(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	do := func(q string) {
		t.Helper()
		if _, err := conn.ExecContext(t.Context(), q); err != nil {
			t.Fatalf("%s: %v", q, err)
		}
	}
	do(`set session_replication_role = replica`)
	for _, table := range tables {
		if slices.Contains(elsewhere, table) {
			continue
		}
		for _, rule := range names(t, db, fmt.Sprintf(`select conname from pg_constraint where conrelid = '%s'::regclass and contype = 'c'
			and not exists (select from %s where plant_id = %d)`, table, table, plant)) {
			do(fmt.Sprintf(`alter table %s drop constraint %s`, table, rule))
		}
		var into, values []string
		for _, c := range names(t, db, fmt.Sprintf(columnValues, plant, table)) {
			name, value, _ := strings.Cut(c, " ")
			into, values = append(into, name), append(values, value)
		}
		do(fmt.Sprintf(`insert into %s (%s) overriding system value select %s where not exists (select from %s where plant_id = %d)`,
			table, strings.Join(into, ", "), strings.Join(values, ", "), table, plant))
	}
}
