package desk

import (
	"net/http"

	"layette/engine/trail"
	"layette/engine/word"
)

// keyView is a key and whose it is.
type keyView struct {
	Key
	Person  string   `json:"person"`
	Printed string   `json:"printed"`
	Roles   []string `json:"roles"`
}

// keys lists the keys at hand.
func (d *Desk) keys(r *http.Request) (any, error) {
	t, err := d.trail(r)
	if err != nil {
		return nil, err
	}
	list := []keyView{}
	for _, k := range d.o.Keys.AtHand(t) {
		if v, err := owned(t, k); err == nil {
			list = append(list, v)
		}
	}
	return list, nil
}

// key tells whose key a file holds that the person named.
func (d *Desk) key(r *http.Request) (any, error) {
	var asked struct {
		File string `json:"file"`
	}
	if err := read(r, &asked); err != nil {
		return nil, err
	}
	t, err := d.trail(r)
	if err != nil {
		return nil, err
	}
	k, err := d.o.Keys.Look(asked.File)
	if err != nil {
		return nil, err
	}
	return owned(t, k)
}

func (d *Desk) trail(r *http.Request) (*trail.Trail, error) {
	m, err := d.o.Open(r.Context())
	if err != nil {
		return nil, err
	}
	defer m.Close()
	t, err := m.OpenTrail()
	if err != nil {
		return nil, err
	}
	return t, word.May(t)
}

func owned(t *trail.Trail, k Key) (keyView, error) {
	who, ok := t.Who(k.Fingerprint)
	if !ok {
		return keyView{}, &word.Refusal{Says: "the key " + k.Fingerprint + " is not enrolled in this trail", Hint: "its owner enrols people: layette people add"}
	}
	return keyView{Key: k, Person: who.Name, Printed: who.Printed, Roles: who.Roles}, nil
}
