// Package blackbox reads the controller's black box and plays it again: the
// refreshes that a machine showed, out of what it wrote down.
//
// Place: beside link, after play. In: records as controller/player/log*.c write
// them, over a link.Conn (Fetch) or from a file (Read, Write); docs/blackbox.md is
// the specification of both. Out: a listing for people (List), and refreshes, code
// for code, by render/play (Find, Play).
//
// A log is what the store held: its beginning may be gone, records may be torn, and
// the controller may have left some out when too much happened. So a log is cut
// into Spans, stretches of refreshes between which nothing is missing. A span
// begins with a start of the player or with a check point. What is not in a span
// cannot be played again, and the errors say where the nearest one is.
//
// Bytes of a log are never trusted: every number is checked before it is used, and
// whatever they hold, reading ends with an error or with something to look at.
package blackbox
