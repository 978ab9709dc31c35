package report

import "time"

// A Watched is an instrument to watch.
type Watched struct {
	Instrument string
	Kind       string   // indicator or proving-unit
	State      string   // in words
	Why        []string // sentences
}

// A Doubted is a record in doubt.
type Doubted struct {
	Record     string
	Instrument string
	Grade      string
	Began      time.Time
	Site       string
	Technician string
}

// A Service is a service of an instrument to come.
type Service struct {
	Instrument string
	Due        time.Time
	Why        string
}
