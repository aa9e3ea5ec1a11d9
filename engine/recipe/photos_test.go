package recipe

import (
	"strings"
	"testing"

	"layette/engine/diag"
)

const photographed = `
format = 1
title = "Photographed"
extends = "good"
[photos.face]
stage = "shaped"
part  = "head"
view  = "front"
file  = "photos/face.*"
[photos.side]
stage = "shaped"
view  = "left"
file  = "photos/{part}-left.jpg"
`

// TestPhotos: the model sheet's photograph replaces the recipe's of that name,
// and a stage gets those that are meant for it.
func TestPhotos(t *testing.T) {
	sheet := "format = 1\nrecipe = \"x\"\n[photos.face]\nstage = \"shaped\"\npart = \"head\"\nview = \"front-left\"\nfile = \"phone/IMG_7.jpg\"\n"
	model, _ := testdata("model")
	whole := string(model.Data)
	sheet = whole + sheet[strings.Index(sheet, "[photos"):]
	r, err := Read(Sources{Sheet: Text{"model.toml", []byte(sheet)}, Recipe: Text{"photographed.toml", []byte(photographed)}, Folder: "luna", Find: testdata}, fakes)
	if err != nil {
		t.Fatal(diag.Of(err))
	}
	list := r.PhotosOf("shaped", "head")
	if len(list) != 2 || list[0].Name != "face" || list[0].View != "front-left" || list[0].File != "phone/IMG_7.jpg" || list[1].File != "photos/head-left.jpg" {
		t.Errorf("of the head: %+v", list)
	}
	if list := r.PhotosOf("shaped", "left-arm"); len(list) != 1 || list[0].File != "photos/left-arm-left.jpg" {
		t.Errorf("of the left arm: %+v", list)
	}
	if list := r.PhotosOf("gaps", "head"); len(list) != 0 {
		t.Errorf("of another stage: %+v", list)
	}
}

func TestWrongPhotos(t *testing.T) {
	for _, tt := range []struct{ was, is, code, hint string }{
		{`"front"`, `"frnt"`, "unknown-view", "front"},
		{`"shaped"`, `"shapd"`, "unknown-stage", "shaped"},
		{`"shaped"`, `"packed"`, "no-part", "leave part out"},
		{`"head"`, `"nose"`, "unknown-part", ""},
		{`"photos/face.*"`, `"../face.jpg"`, "bad-path", "folder"},
		{`"photos/face.*"`, `"{scan}.jpg"`, "no-scan", "leave {scan} out"},
		{`view  = "front"`, ``, "missing-key", "view"},
		{`view  = "front"`, "view = \"front\"\ncamera = 1", "unknown-key", "a photograph may have"},
	} {
		text := strings.Replace(photographed, tt.was, tt.is, 1)
		_, err := Read(Sources{Recipe: Text{"photographed.toml", []byte(text)}, Find: testdata}, fakes)
		list := diag.Of(err)
		if len(list) != 1 || list[0].Code != tt.code || !strings.Contains(list[0].Hint, tt.hint) || list[0].Pos.Line == 0 {
			t.Errorf("%s as %s: %v", tt.was, tt.is, list)
		}
	}
}
