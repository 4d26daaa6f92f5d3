package api

// about is what whoever calls the interface has to know besides its operations.
const about = `Deviations of thermometers: trace, assess, hold, decide, close. It supports a decision and does not make one.

**Who calls.** A plant's system sends its key (lg_…) as a bearer token and never signs. A person begins a session with POST /v1/sessions and sends its token (ls_…); the scopes are those of their roles. What only a person may do takes a session. A signature needs a password given a few minutes ago at most: else the answer is 401 with the rule step-up-required and a challenge by RFC 9470; POST /v1/session/confirmation takes the password, and the request is then sent again.

**Trying again.** Every POST that writes takes Idempotency-Key, a word of the sender's own for one request. The same key with the same request is answered as the first time and does nothing twice; with another request it is refused. Without it, a request that was cut off may have been done.

**What has changed since.** A thing that can change has a version, and its answer an ETag of the form "v1": a strong tag with the number of the version, quotes and all. Where If-Match is required, send the ETag of what you looked at: without one the answer is 428, and 412 if somebody was faster: look again. PUT /v1/policy asks for it only where the text that is sent differs from the one in force and a second person has to sign it. A signature names the sha256 of what was shown, to the same end.

**Lists.** A list is cut into pages of limit items. next_cursor of one page is the cursor of the next, and null on the last; the Link header says the same. A cursor is never made by hand.

**Refusals.** What is refused is answered with a problem document (RFC 9457, application/problem+json). rule says what was broken and is stable; detail is one sentence for a person and may change. errors names every row or field at fault, by where it stands: body.items[3].unit, path.id, query.limit. A request with several rows is done whole or not at all. instance names the answer in the server's log. 503 with Retry-After is to be tried again.

**Words.** Times are RFC 3339 with an offset. Quantities are digits in a string, with a unit. An enum may get new words; a reader leaves alone those that it does not know.`
