package proof

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"

	"paneglow/render/table"
)

// AnyLevel stands for every level between nothing and full.
const AnyLevel = -1

// MostLoads is the most loads of a table that is certified: three conditions of
// each, stopped, starting and running, are 2187 sets.
const MostLoads = 7

// Certificate is what a table's player may draw, and the budgets that hold.
// Currents are microamperes at the supply, idle included.
type Certificate struct {
	Version int    `json:"version"`
	Title   string `json:"title"`
	Bytes   int    `json:"table_bytes"`
	CRC     string `json:"table_crc"` // CRC-32/ISO-HDLC of the whole table, hexadecimal
	Levels  []int  `json:"levels"`    // factors on light, k/65536, that rows name
	Clips   []Clip `json:"clips"`
	Rows    []Row  `json:"rows"`
}

// Clip is the current of every frame of a clip from one supply, at full level.
type Clip struct {
	Clip    string  `json:"clip"`
	Supply  string  `json:"supply"` // "" for the first
	Current []int64 `json:"current_uA"`
}

// Row is one reachable case.
type Row struct {
	State    string   `json:"state"`
	By       string   `json:"by"`    // "start", "clip", "finish", "mix"
	Shows    string   `json:"shows"` // a clip; "" for black and for a mix
	Known    bool     `json:"known"` // which loads run
	Running  []string `json:"running"`
	Starting []string `json:"starting"`
	Level    int      `json:"level"` // k/65536, or AnyLevel
	Supply   string   `json:"supply"`
	Frame    int      `json:"frame"` // of the greatest current; -1 for black and for a mix
	Draws    int64    `json:"draws_uA"`
	Exact    bool     `json:"exact"`
	Budget   int64    `json:"budget_uA"`
	Dark     bool     `json:"dark"` // loads that the state does not expect leave less than a dark panel draws: it is dark
}

// Of makes the certificate of a table. It refuses one in which a dark panel
// alone breaks a budget, naming the state, and one of more than MostLoads.
func Of(t *table.Table) (*Certificate, error) {
	if n := len(t.Loads); n > MostLoads {
		return nil, fmt.Errorf("proof: %d loads, at most %d are enumerated", n, MostLoads)
	}
	m := newMaker(t)
	for i := range t.States {
		if err := m.state(i); err != nil {
			return nil, err
		}
	}
	return m.c, nil
}

// Write writes a certificate as JSON, one row a line.
func (c *Certificate) Write(w io.Writer) error {
	head := *c
	head.Rows = []Row{} // the last field
	b, err := json.Marshal(&head)
	if err != nil {
		return err
	}
	b = bytes.TrimSuffix(b, []byte("]}"))
	for i := range c.Rows {
		line, err := json.Marshal(&c.Rows[i])
		if err != nil {
			return err
		}
		if i > 0 {
			b = append(b, ',')
		}
		b = append(append(b, '\n'), line...)
	}
	_, err = w.Write(append(b, "\n]}\n"...))
	return err
}
