// Package page is where staff look at traces in a browser.
//
// What comes in: requests of people, and the history to show. What goes out:
// HTML made on the server, numbers for the charts, and, when somebody changes
// something, the same events that the command line sends (packages staff and
// parked). The page itself writes nothing.
//
// What it promises:
//
//   - What a change would do is worked out by the scorer's own way from file to
//     outcome and the alerts stage's own review, before anything is saved
//     (preview.go). After saving, the numbers are those of the preview.
//   - On loopback nobody has to sign in; anywhere else everybody has to
//     (access.go). Requests that another site's page makes a browser send are
//     refused, and so are host names that are not the page's (guard.go).
//   - Every text is escaped by html/template; there is no inline script or
//     style, nothing is fetched from elsewhere, nothing is kept in caches.
//   - It works without script, but for the zooming charts; with the keyboard
//     alone; in black and white; on paper.
//   - Athletes are called as the club's privacy setting says.
//
// Dropped files are published as ingest publishes those it finds, as if they
// had been in the squad's watched folder: whose they are is found by the same
// rules. They are not written into the folder, which canter only reads and
// which may be on another machine.
//
// Start reading at page.go (routes), then session.go and test.go (what is
// shown), preview.go and change.go (what is changed).
package page
