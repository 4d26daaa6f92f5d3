package lot

// What makes one lot taint another: it was made into it; it stood in the same
// vessel before it, or with it, and no clean-out lies between; or a row that
// would close a cycle says that it was made into it, which makes one mixed lot of
// the lots of the cycle, since each then goes back to every other.
//
// Product in a vessel is mixed as a whole, and a lot is in doubt as a whole, also
// what left it before it was put there: too much is held, never too little.
//
// Of two stays in a vessel, a (which taints) and b, a must not begin after b has
// ended, and no clean-out lies between if the last that was over when b began was
// begun before a had ended. Where one ends in the moment in which the other
// begins, the one before taints the one after and not the other way.

// Seen from b: a ended after the last clean-out before b had begun. Seen from a:
// b began before a clean-out was over that began after a had ended. Both say the
// same; each can be answered by an index from its own end.
const (
	overlap = `a.stayed_from <= coalesce(b.stayed_to, 'infinity'::timestamptz)
    and coalesce(b.stayed_to, 'infinity'::timestamptz) >= a.stayed_from
    and (a.stayed_from < coalesce(b.stayed_to, 'infinity'::timestamptz) or a.stayed_from = b.stayed_from)`

	// tainting is the stays a that taint the stays b.
	tainting = `join location v on v.plant_id = $1 and v.location_id = b.location_id and v.vessel
  join stay a on a.plant_id = $1 and a.location_id = b.location_id and a.lot_id <> b.lot_id and ` + overlap + `
    and coalesce(a.stayed_to, 'infinity'::timestamptz) > coalesce((select max(coalesce(c.begun_at, c.cleaned_at)) from cleanout c
      where c.plant_id = $1 and c.location_id = b.location_id and c.cleaned_at <= b.stayed_from and not ` + withdrawn + `),
      '-infinity'::timestamptz)`

	// mixed is the stays b that the stays a taint.
	mixed = `join location v on v.plant_id = $1 and v.location_id = a.location_id and v.vessel
  join stay b on b.plant_id = $1 and b.location_id = a.location_id and b.lot_id <> a.lot_id and ` + overlap + `
    and b.stayed_from < coalesce((select min(c.cleaned_at) from cleanout c
      where c.plant_id = $1 and c.location_id = a.location_id and c.cleaned_at >= coalesce(a.stayed_to, 'infinity'::timestamptz)
      and coalesce(c.begun_at, c.cleaned_at) >= coalesce(a.stayed_to, 'infinity'::timestamptz) and not ` + withdrawn + `),
      'infinity'::timestamptz)`
)

// standing is a condition: nobody has rejected a row in quarantine, q.
const standing = `not exists (select from transformation_resolution x where x.plant_id = q.plant_id and x.quarantine_id = q.quarantine_id
  and x.verdict = 'rejected')`

// TaintersSQL is a subquery, for a lateral join, of the lots that taint the lot
// u.lot_id of the plant $1 directly.
const TaintersSQL = `(
  select t.input_lot_id as lot_id from transformation t where t.plant_id = $1 and t.output_lot_id = u.lot_id
  union all
  select a.lot_id from stay b ` + tainting + ` where b.plant_id = $1 and b.lot_id = u.lot_id
  union all
  select q.input_lot_id from transformation_quarantine q where q.plant_id = $1 and q.output_lot_id = u.lot_id and ` + standing + `)`

// tainted is, for each lot of $2, which lots it taints directly.
const tainted = `
select t.input_lot_id, t.output_lot_id from transformation t where t.plant_id = $1 and t.input_lot_id = any($2)
union
select a.lot_id, b.lot_id from stay a ` + mixed + ` where a.plant_id = $1 and a.lot_id = any($2)
union
select q.input_lot_id, q.output_lot_id from transformation_quarantine q
where q.plant_id = $1 and q.input_lot_id = any($2) and ` + standing
