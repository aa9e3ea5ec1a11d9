package desk

import (
	"context"
	"embed"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"

	"layette/engine"
	"layette/engine/sheet"
	"layette/engine/trail"
	"layette/engine/word"
)

//go:embed desk.html desk.css desk.js
var files embed.FS

// handler is all that the desk answers, behind its guard.
func (d *Desk) handler(host string) http.Handler {
	mux := http.NewServeMux()
	open := map[string]bool{}
	viewer, style := sheet.Viewer()
	for path, text := range map[string][2]string{"/viewer.js": {"text/javascript", viewer}, "/sheet.css": {"text/css", style},
		"/desk.js": {"text/javascript", own("desk.js")}, "/desk.css": {"text/css", own("desk.css")}, "/": {"text/html", own("desk.html")}} {
		open[path] = true
		if path == "/" {
			path = "/{$}"
		}
		mux.HandleFunc("GET "+path, func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", text[0]+"; charset=utf-8")
			w.Write([]byte(text[1]))
		})
	}
	mux.HandleFunc("GET /events", d.events)
	mux.HandleFunc("GET /board", answer(d.board))
	mux.HandleFunc("GET /stage", answer(d.stage))
	mux.HandleFunc("GET /solid", answer(d.solid))
	mux.HandleFunc("GET /pictures", answer(d.pictures))
	mux.HandleFunc("GET /keys", answer(d.keys))
	mux.HandleFunc("POST /key", answer(d.key))
	mux.HandleFunc("POST /run", answer(d.run))
	mux.HandleFunc("POST /stop", answer(d.stop))
	mux.HandleFunc("POST /look", answer(d.look))
	mux.HandleFunc("POST /sign", answer(d.sign))
	return newGuard(host, d.token, mux, open)
}

func own(name string) string {
	text, err := files.ReadFile(name)
	if err != nil {
		panic(err) // built into the program
	}
	return string(text)
}

// An askedWrong error is a request that makes no sense.
type askedWrong struct {
	code int
	says string
}

func (e *askedWrong) Error() string { return e.says }

func wrong(code int, format string, args ...any) error {
	return &askedWrong{code, fmt.Sprintf(format, args...)}
}

// answer turns what a function gives into JSON, or its error into words.
func answer(f func(*http.Request) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := f(r)
		if err == nil {
			w.Header().Set("Content-Type", "application/json")
			json.NewEncoder(w).Encode(v) // who went away hears nothing
			return
		}
		if e, ok := errors.AsType[*askedWrong](err); ok {
			refuse(w, e.code, e.says, "")
		} else if e, ok := errors.AsType[*word.Refusal](err); ok {
			refuse(w, http.StatusConflict, e.Says, e.Hint)
		} else if !errors.Is(err, context.Canceled) {
			refuse(w, http.StatusUnprocessableEntity, err.Error(), "")
		}
	}
}

// refuse answers with a sentence and perhaps a way out.
func refuse(w http.ResponseWriter, code int, says, hint string) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(code)
	json.NewEncoder(w).Encode(map[string]string{"says": says, "hint": hint})
}

// read reads what a request carries: one JSON object of known fields.
func read(r *http.Request, into any) error {
	dec := json.NewDecoder(r.Body)
	dec.DisallowUnknownFields()
	err := dec.Decode(into)
	if err == nil && dec.More() {
		err = errors.New("more than one thing at once")
	}
	if _, long := errors.AsType[*http.MaxBytesError](err); long {
		return wrong(http.StatusRequestEntityTooLarge, "that is too much at once")
	}
	if err != nil {
		return wrong(http.StatusBadRequest, "the request cannot be read: %v", err)
	}
	return nil
}

// status finds the stage that a request names among those of the board. A name
// is compared, and never used as a path.
func (d *Desk) status(id string) (*engine.Status, *trail.Trail, *sheet.Stage, error) {
	b, t, page := d.live.get()
	if b != nil {
		for _, st := range b.Stages {
			if st.Node.String() == id {
				return st, t, stageOf(page, id), nil
			}
		}
	}
	return nil, nil, nil, wrong(http.StatusNotFound, "the model has no stage %q", id)
}

func stageOf(p *sheet.Page, id string) *sheet.Stage {
	for _, part := range p.Parts {
		for i := range part.Stages {
			if part.Stages[i].ID == id {
				return &part.Stages[i]
			}
		}
	}
	return &sheet.Stage{ID: id}
}
