package main

import "paneglow/render/prove"

// project is a show on its way to a table, and what the commands make of it.
type project struct{ *prove.Project }

// open reads, checks and builds a show, on another machine if one is named.
func open(path, machine string) *project { return &project{prove.Open(path, machine)} }
