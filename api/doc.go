// Package api is the REST interface: plant systems drive the engine through it.
// It decides nothing.
//
// Conventions. Every operation needs a key: Authorization: Bearer lg_…, with the
// scopes that the operation names; only /openapi.json and /healthz need none.
// Names of things are those of the exchange format. Times are RFC 3339 with an
// offset. A write may carry an Idempotency-Key (quoted or bare): the same key
// with the same request is answered as the first time, with another request it
// is refused. What can change has a version, sent as a strong ETag; a command on
// it needs If-Match. Lists are paged by a cursor that only the server makes.
//
// Whatever is wrong is a problem document (RFC 9457) with a stable rule, and for
// each row or field at fault its place, its rule and a sentence. No word of the
// database leaves the building.
package api
