package api

import (
	"net/http"
	"strings"
)

// maxAddress is how many bytes an address may have: the longest of ours, a cursor
// among its parameters, is far shorter.
const maxAddress = 8 << 10

// nothingLoads is for whoever opens an answer as a page: nothing of it runs, nothing
// is fetched for it, and no other page shows it inside itself.
const nothingLoads = "default-src 'none'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"

// secure sets the headers that every answer has, refusals among them: no answer is
// a page, whatever bytes somebody attached, and none of a plant's is kept on the way.
func secure(h http.Header, path string) {
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Security-Policy", nothingLoads)
	h.Set("Referrer-Policy", "no-referrer")
	h.Set("Cross-Origin-Resource-Policy", "same-origin")
	if strings.HasPrefix(path, "/v1/") {
		h.Set("Cache-Control", noStore)
	}
}

// addressFault says what is wrong with an address, before anything reads it; nil:
// nothing.
func addressFault(r *http.Request) *Problem {
	switch {
	case len(r.RequestURI) > maxAddress:
		return newProblem(http.StatusRequestURITooLong, "address-too-long", "an address has at most 8192 bytes: send long lists in a body")
	case !printable(r.URL):
		return newProblem(http.StatusBadRequest, "control-character", "the address has bytes in it that are no text")
	}
	return nil
}
