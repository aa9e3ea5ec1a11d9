package main

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"

	"layette/steps/specimen"
)

// demoSize is how finely the invented child is made.
type demoSize struct{ small bool }

// triangles is the size of a part: enough for the webs between fingers, little
// enough for a first look in less than a minute.
func (s demoSize) triangles(part string) int {
	switch {
	case strings.HasSuffix(part, "arm"):
		if s.small {
			return 120_000
		}
		return 300_000
	case s.small:
		return 20_000
	}
	return 120_000
}

// hand is how the right hand is scanned: every third of a millimetre, or every
// half.
func (s demoSize) hand() specimen.Session {
	sc := specimen.Scanner{Pitch: 0.4, Noise: 0.06, Wide: 85, High: 85}
	if s.small {
		sc.Pitch = 0.7
	}
	return specimen.Session{Scanner: sc, Shots: 22, Bad: 0.1, Twice: true, Seed: 2}
}

// scanned is the part that the demo follows from its shots on; demoSlip is what
// is too close in it: the child's own fingers, which nearly touch.
const (
	scanned = "right-arm"
	cast    = "right-hand"
)

func demoSlip(part string) specimen.Fault {
	return specimen.Fault{What: specimen.FingerGap, Part: part, Size: 0.8, Seed: 3}
}

// sculpts writes the parts as the sculptor left them, and beside them what she
// will make of the one that starts from scans: cleaned up as the child holds
// it, and with the fingers set apart.
func (d *demo) sculpts(ctx context.Context) error {
	child, err := specimen.NewKit(specimen.Options{Faults: []specimen.Fault{demoSlip(scanned), demoSlip(cast)}})
	if err != nil {
		return err
	}
	parted, err := specimen.NewKit(specimen.Options{})
	if err != nil {
		return err
	}
	d.wrist = map[string]string{}
	for _, name := range specimen.Parts {
		file := demoModel + "/sculpt/" + name + ".stl"
		if name == scanned {
			file = "changed/" + scanned + "-rebuilt.stl"
		}
		p, err := d.surface(ctx, child, name, file)
		if err != nil {
			return err
		}
		if w, ok := p.Marks["wrist"]; ok {
			d.wrist[name] = fmt.Sprintf("[%.2f, %.2f, %.2f]", w.X, w.Y, w.Z)
			if name == scanned {
				d.pin = strings.ReplaceAll(fmt.Sprintf("%.1f,%.1f,%.1f", w.X, w.Y, w.Z), "-0.0,", "0.0,")
			}
		}
	}
	if _, err := d.surface(ctx, parted, scanned, "changed/"+scanned+"-parted.stl"); err != nil {
		return err
	}
	d.say("%s/sculpt/         head, left arm and legs as the sculptor left them; the right arm is not made yet", demoModel)
	d.say("changed/                       what she will make of it: rebuilt, and then with two fingers set apart")
	return nil
}

func (d *demo) surface(ctx context.Context, kit *specimen.Kit, part, name string) (*specimen.Part, error) {
	p, err := kit.Part(part)
	if err != nil {
		return nil, err
	}
	m, err := p.Mesh(ctx, specimen.Sampling{Triangles: d.size.triangles(part)})
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := specimen.WriteSTL(&b, m); err != nil {
		return nil, err
	}
	return p, d.write(name, b.Bytes())
}

// scans writes the shots of the right hand and its casting, and both copies of
// them all; and the model sheet, in which the shot filed twice is left out.
func (d *demo) scans(ctx context.Context) error {
	kit, err := specimen.NewKit(specimen.Options{Faults: []specimen.Fault{demoSlip(scanned), demoSlip(cast)}})
	if err != nil {
		return err
	}
	hand, err := kit.Part(cast)
	if err != nil {
		return err
	}
	session := d.size.hand()
	err = session.Run(ctx, hand, func(shot specimen.Scan) error {
		d.shots = append(d.shots, shot)
		var b bytes.Buffer
		if err := specimen.WritePLY(&b, shot.Mesh); err != nil {
			return err
		}
		return d.thrice("scans/"+scanned+"/"+shot.Name+".ply", b.Bytes())
	})
	if err != nil {
		return err
	}
	m, err := kit.Casting(ctx, cast, specimen.Sampling{Triangles: 60_000})
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := specimen.WriteSTL(&b, m); err != nil {
		return err
	}
	if err := d.thrice("castings/"+scanned+".stl", b.Bytes()); err != nil {
		return err
	}
	d.say("%s/scans/          %d single shots of the right hand; some are bad, and one is filed twice", demoModel, len(d.shots))
	d.say("%s/castings/       the casting of that hand, the still reference; copies of both in backups/", demoModel)
	d.say("%s/model.toml      the model sheet: the shot filed twice is left out, with the reason", demoModel)
	return d.write(demoModel+"/model.toml", d.modelSheet())
}

// thrice writes an original and both its copies.
func (d *demo) thrice(name string, data []byte) error {
	for _, place := range []string{demoModel, "backups/second", "backups/third"} {
		if err := d.write(place+"/"+name, data); err != nil {
			return err
		}
	}
	return nil
}

func (d *demo) modelSheet() []byte {
	var b strings.Builder
	b.WriteString(`# One child, one kit. Ottilie is invented.
format = 1
recipe = "wren-sleeping"
title  = "Ottilie"

# The second and third copy of every original. In a studio these are other
# disks, one of them away from the house.
[folders.second]
path = "../../backups/second"
[folders.third]
path = "../../backups/third"
`)
	for _, arm := range []string{"left-arm", "right-arm"} {
		fmt.Fprintf(&b, `
[overrides.wrist-%[1]s]
set    = "stages.test-hands.values.cuts"
part   = "%[1]s"
value  = { hand = { at = %[2]s, toward = [0, 0, 1], within = "8 mm", lean = "15 deg" } }
reason = "this child's wrist"
`, arm, d.wrist[arm])
	}
	if i := slices.IndexFunc(d.shots, func(s specimen.Scan) bool { return s.Fault == specimen.Duplicate }); i >= 0 {
		fmt.Fprintf(&b, `
# A person's word on one shot: keep, trim or drop, with the reason.
[overrides.filed-twice]
set    = "stages.intake.values.verdict"
scan   = "scans/%s/%s.ply"
value  = "drop"
reason = "the same shot as %s, filed twice"
`, scanned, d.shots[i].Name, d.shots[d.shots[i].Of].Name)
	}
	return []byte(b.String())
}

// papers writes what was agreed before the session, and its log.
func (d *demo) papers(context.Context) error {
	for name, text := range map[string]string{
		"session.txt": `Session of Ottilie, who is invented.
Guardians' release: number 107, for the likeness and for its sale; Ida keeps it.
In the room: Ada Wren, who scans; Tom Reed, who watches the child and nothing else; both guardians.
Who calls a break: any of the four, and all stop at once.
`,
		"session-log.txt": fmt.Sprintf(`Log of the session of Ottilie, who is invented.
First to last: %d shots of the right hand, the child asleep on its back.
One break, called by Tom Reed: it stirred. Nothing was touched.
The hand was cast in alginate by its label, away from mouth and nose; plaster was poured in the next room.
`, len(d.shots)),
	} {
		if err := d.write(demoModel+"/papers/"+name, []byte(text)); err != nil {
			return err
		}
	}
	d.say("%s/papers/         what was agreed before the first shot, and the session's log", demoModel)
	return nil
}
