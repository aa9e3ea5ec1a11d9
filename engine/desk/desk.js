// The desk's page. It shows what the desk tells and sends what the person says;
// it decides nothing. Whatever the model's files hold becomes text, never markup.
(function () {
  "use strict";
  const at = id => document.getElementById(id);
  // e makes an element; children are elements or text
  function e(tag, set, ...children) {
    const it = document.createElement(tag);
    for (const [k, v] of Object.entries(set || {})) {
      if (v === null || v === undefined || v === false) continue;
      if (k in it && !k.startsWith("aria")) it[k] = v; else it.setAttribute(k, v);
    }
    it.append(...children.filter(c => c !== null && c !== undefined && c !== false));
    return it;
  }
  // fill puts children where others were, and leaves as the person had it what
  // is the same thing as before: folds, the place in a list, and the focus
  function fill(into, ...children) {
    const folds = new Map([...into.querySelectorAll("[data-fold]")].map(d => [d.dataset.fold, [d.open, d.scrollTop]]));
    const focus = into.contains(document.activeElement) && into !== document.activeElement && sign(document.activeElement);
    into.replaceChildren(...children.filter(Boolean));
    for (const d of into.querySelectorAll("[data-fold]")) {
      const was = folds.get(d.dataset.fold);
      if (was) { if (was[0] !== undefined) d.open = was[0]; d.scrollTop = was[1]; }
    }
    if (focus) { const again = [...into.querySelectorAll("*")].find(x => sign(x) === focus); if (again) again.focus({ preventScroll: true }); }
  }
  // sign is what tells an element of the page from its like
  const sign = x => x.tagName + "\n" + (x.dataset.stage || x.parentElement && x.parentElement.dataset.fold || x.getAttribute("aria-label") || x.name || x.textContent);
  const folded = (name, summary, ...children) => { const d = e("details", {}, e("summary", {}, summary), ...children); d.dataset.fold = name; return d; };
  const marks = { done: "●", due: "◔", held: "■", unsigned: "○", handwork: "◇", waiting: "·", failed: "✕", passes: "●", holds: "■", unknown: "?" };
  const tag = state => e("span", { className: "tag " + state }, e("span", { className: "mark", "aria-hidden": "true" }, marks[state] || "·"), e("span", { className: "state" }, state));
  const pairs = list => e("dl", { className: "pairs" }, ...list.filter(p => p[1]).flatMap(p => [e("dt", {}, p[0]), e("dd", { className: p[2] || "" }, p[1])]));
  const some = list => !!list && list.length > 0;
  const bytes = n => n.toLocaleString("en") + " bytes";

  // ---- the desk behind the page

  let token = location.hash.slice(1);
  try {
    if (/^[\w-]{43}$/.test(token)) sessionStorage.setItem("token", token);
    else token = sessionStorage.getItem("token") || "";
  } catch { /* without storage the page works until it is loaded again */ }
  if (location.hash && !location.hash.startsWith("#stage=")) history.replaceState(null, "", location.pathname);
  async function ask(path, body) {
    const how = { headers: { Authorization: "Bearer " + token }, cache: "no-store" };
    if (body) Object.assign(how, { method: "POST", body: JSON.stringify(body) }).headers["Content-Type"] = "application/json";
    const answer = await fetch(path, how).catch(() => { throw new Error("The desk does not answer: has it been ended?"); });
    const said = await answer.json();
    if (!answer.ok) throw Object.assign(new Error(said.says + (said.hint ? "\n" + said.hint : "")), { code: answer.status });
    return said;
  }
  function trouble(err) {
    at("problem").hidden = !err;
    at("problem").textContent = err ? err.message || err : "";
  }

  // listen hears what changes, and begins again when the line breaks
  async function listen(hear) {
    for (;;) {
      try {
        const answer = await fetch("/events", { headers: { Authorization: "Bearer " + token }, cache: "no-store" });
        if (!answer.ok) throw Object.assign(new Error((await answer.json()).says), { code: answer.status });
        const reader = answer.body.pipeThrough(new TextDecoderStream()).getReader();
        for (let rest = "", got; !(got = await reader.read()).done;) {
          const whole = (rest + got.value).split("\n\n");
          rest = whole.pop();
          whole.filter(t => t.startsWith("data: ")).forEach(t => hear(JSON.parse(t.slice(6))));
        }
        throw new Error("The desk has ended. What stands here is as it was.");
      } catch (err) {
        trouble(err.code ? err : "The desk has ended or does not answer. What stands here is as it was.");
        if (err.code) return;
      }
      await new Promise(r => setTimeout(r, 2000));
    }
  }

  // ---- the board

  let version = -1, open = "", board = null;
  function heard(m) {
    trouble(m.problem);
    runs(m.run);
    if (m.board !== version && m.board > 0) { version = m.board; refresh(); }
  }
  function runs(run) {
    at("run").disabled = run.going;
    at("stop").hidden = !run.going;
    const far = at("far");
    far.hidden = !run.going;
    if (!run.going) { fill(at("now")); at("told").textContent = run.says || ""; return; }
    const reading = run.whole > 0 && run.read < run.whole && !run.stages;
    far.value = reading ? run.read / run.whole : run.stages ? run.settled / run.stages : 0;
    at("told").textContent = reading ? "reading files" : run.stages ? run.settled + " of " + run.stages + " stages" : "looking";
    fill(at("now"), ...(run.now || []).map(n => e("li", {}, n.stage + (n.what ? ", " + n.what : "") + (n.total ? " " + Math.floor(100 * n.done / n.total) + " %" : ""))));
  }
  async function refresh() {
    try { board = await ask("/board"); } catch (err) { return trouble(err); }
    at("model").textContent = board.Model;
    document.title = board.Model + " · the desk";
    at("title").textContent = board.Title;
    at("headline").textContent = headline();
    fill(at("next"), board.Next && e("h3", {}, "Next"), ...few(board.Next || [], 8, "more that await somebody", list => e("ul", { className: "next" }, ...list.map(next))));
    const rows = (board.Parts || []).map(p => e("tr", {}, e("th", { scope: "row" }, p.Name || "the kit as a whole"), e("td", {}, ...chips(p.Stages))));
    fill(at("board"), ...rows);
    const lacks = (board.Trail.Checks || []).filter(c => !c.OK);
    fill(at("trail"), board.Trail.Name && e("p", { className: "small" }, "Trail " + board.Trail.Name + ": " + (lacks.length ? "these checks do not hold true yet: " + lacks.map(c => c.Name + " (" + c.Says + ")").join("; ") : "all checks hold true") + "."));
    if (open) stage();
  }
  function headline() {
    const n = {};
    let all = 0;
    for (const p of board.Parts || []) for (const s of p.Stages) { n[s.State] = (n[s.State] || 0) + 1; all++; }
    return "Of " + all + " stages: " + Object.keys(marks).filter(s => n[s]).map(s => n[s] + " " + s).join(", ") + ".";
  }
  function next(text) {
    const id = text.split(": ")[0];
    return e("li", {}, text, e("button", { type: "button", onclick: () => go(id), ariaLabel: "open " + id }, "open"));
  }
  // few shows so many of a list and folds the rest away
  function few(list, most, says, show) {
    const rest = list.slice(most);
    return [some(list) && show(list.slice(0, most)), some(rest) && folded(says, rest.length + " " + says, show(rest))];
  }
  // chips has one button a stage; of a stage with many scans those that ask for
  // nobody are folded away
  function chips(stages) {
    const by = new Map();
    for (const s of stages) { const name = s.Name.split(" ")[0]; by.set(name, (by.get(name) || []).concat(s)); }
    return [...by].flatMap(([name, list]) => {
      if (list.length <= 6) return list.map(chip);
      const calls = list.filter(s => !/^(done|due|waiting)$/.test(s.State)), rest = list.filter(s => !calls.includes(s)), n = {};
      rest.forEach(s => { n[s.State] = (n[s.State] || 0) + 1; });
      if (!some(rest)) return calls.map(chip);
      const fold = folded(stages[0].ID + name, name + ": " + Object.keys(n).map(k => n[k] + " " + k).join(", "), ...rest.map(chip));
      fold.open = rest.some(s => s.ID === open);
      return calls.map(chip).concat(fold);
    });
  }
  function chip(s) {
    const b = e("button", { type: "button", className: s.State, title: s.Says, onclick: () => go(s.ID) },
      e("span", { className: "mark", "aria-hidden": "true" }, marks[s.State] || "·"), s.Name + " ", e("span", { className: "state" }, s.State));
    b.dataset.stage = s.ID;
    b.setAttribute("aria-current", s.ID === open);
    return b;
  }
  function go(id) {
    if (location.hash === "#stage=" + encodeURIComponent(id)) return stage(true);
    location.hash = "#stage=" + encodeURIComponent(id);
  }
  function arrive() {
    if (!location.hash.startsWith("#stage=")) return;
    open = decodeURIComponent(location.hash.slice(7));
    at("board").querySelectorAll("button").forEach(b => b.setAttribute("aria-current", b.dataset.stage === open));
    fill(at("form"));
    word = null;
    stage(true);
  }

  // ---- one stage

  let now = null, said = "", view = null, sighted = "", file = "", spot = -1, word = null;
  const pins = {}; // notes that go with the next word, by stage
  async function stage(arrived) {
    const id = open;
    let s;
    try { s = await ask("/stage?id=" + encodeURIComponent(id)); } catch (err) { return trouble(err); }
    if (id !== open) return;
    at("work").hidden = false;
    const text = JSON.stringify(s);
    if (text !== said) {
      const another = !now || now.ID !== s.ID;
      said = text; now = s;
      if (another) { spot = -1; at("found").replaceChildren(); fill(at("pictures")); at("album").open = false; drawn = ""; }
      facts();
      sight();
      album();
      if (word && !another) stale();
    }
    if (arrived) { at("work").scrollIntoView(); at("work").focus({ preventScroll: true }); }
  }
  function facts() {
    const s = now;
    fill(at("stage-name"), s.ID);
    fill(at("facts"),
      e("p", {}, tag(s.State), s.Says || ""),
      s.For && e("p", { className: "for" }, s.For),
      s.State === "due" && s.why.length > 1 && e("ul", { className: "small" }, ...s.why.map(w => e("li", {}, w))),
      ...(s.Gates || []).slice().sort((a, b) => (a.State === "passes") - (b.State === "passes")).map(g => e("div", { className: "gate " + g.State },
        e("p", { className: "verdict" }, tag(g.State), "gate ", e("strong", {}, g.Name), g.Why ? ": " + g.Why : ""),
        pairs([["rule", g.Rule, "code"], ["saw", g.Numbers], ["margin", g.Margin, "num"], ["conceded", g.Conceded]]))));
    fill(at("found"), spotList(), table(), measures(), s.Notes && e("ul", { className: "notes" }, ...s.Notes.map(n => e("li", {}, n))), ...signatures(), fileList());
    fill(at("acts"), acts());
  }
  function spotList() {
    const list = now.Spots || [];
    if (!list.length) return null;
    return e("div", {}, e("h3", {}, "Spots ", e("span", { className: "small" }, list.length + ", " + list.filter(s => s.fault).length + " of them faults")),
      listed(e("ol", { className: "spots", tabIndex: 0, ariaLabel: "spots" }, ...list.map((s, i) => {
        const li = e("li", { className: s.fault ? "fault" : "" }, e("button", { type: "button", onclick: () => walk(i, true), ariaLabel: "go to spot " + s.n }, "go there"),
          e("b", { className: "n" }, s.n), " ", e("span", { className: "what" }, s.what), " ", e("span", { className: "num" }, s.value), e("span", { className: "went small" }, went().has(s.n) ? " ✓ looked at" : ""), e("br"), s.says);
        li.setAttribute("aria-current", i === spot);
        return li;
      }))));
  }
  function listed(ol) { ol.dataset.fold = "spots"; return ol; }
  function table() {
    const t = now.Table;
    return t && e("div", {}, e("h3", {}, t.Title), e("div", { className: "wide", tabIndex: 0, role: "region", ariaLabel: t.Title },
      e("table", { className: "rows" }, e("thead", {}, e("tr", {}, ...t.Head.map(h => e("th", { scope: "col" }, h)))), e("tbody", {}, ...t.Rows.map(r => e("tr", {}, ...r.map(c => e("td", {}, c))))))),
      t.More ? e("p", { className: "small" }, t.More + " more rows are in the file.") : null);
  }
  function measures() {
    return now.Measures && folded("measures", now.Measures.length + " measures", e("div", { className: "wide", tabIndex: 0, role: "region", ariaLabel: "Measures" },
      e("table", {}, e("tbody", {}, ...now.Measures.map(m => e("tr", {}, e("th", { scope: "row", className: "code" }, m.Name), e("td", { className: "num" }, m.Value), e("td", {}, m.Doc)))))));
  }
  function fileList() {
    return now.Files && folded("files", now.Files.length + (now.Files.length === 1 ? " file" : " files") + " made", e("div", { className: "wide", tabIndex: 0, role: "region", ariaLabel: "Files" },
      e("table", {}, e("tbody", {}, ...now.Files.map(f => e("tr", {}, e("td", {}, f.Role), e("td", {}, f.Name), e("td", { className: "num" }, f.Size), e("td", { className: "code digest" }, f.SHA256)))))));
  }
  function signatures() {
    if (!now.Signed && !now.Asked) return [];
    return [e("h3", {}, "Sign-off"), now.Asked && e("p", { className: "asked" }, now.Asked), ...(now.Signed || []).map(g => e("div", { className: "signature" + (g.Lapsed ? " lapsed" : "") },
      e("p", { className: "name" }, g.Name), pairs([["time", g.Time], ["meaning", g.Meaning], ["word", g.Verdict + (g.Lapsed ? ", " + g.Lapsed : "")], ["note", g.Note], ["record", g.Record, "code"]])))];
  }
  function acts() {
    if (!now.speak) return null;
    const act = (text, how) => e("button", { type: "button", onclick: () => look(how) }, text);
    return e("div", { className: "acts" }, act("sign …", {}), act("hold …", { verdict: "hold" }), ...now.held.map(g => act("concede " + g + " …", { gate: g })));
  }

  // ---- the 3D view, and the walk from spot to spot

  // the surface shown: the one that holds the spot one is at, or that was chosen
  function surface() {
    const list = now.solids, s = now.Spots && now.Spots[spot], chosen = list.find(x => x.key === at("surface").value) || list.find(x => x.file === file);
    if (chosen && (!s || chosen.spots.includes(s.n))) return chosen;
    return s && list.find(x => x.spots.includes(s.n)) || chosen || list[0];
  }
  async function sight() {
    const it = surface(), pick = at("surface");
    fill(pick, ...now.solids.map(x => e("option", { value: x.key }, x.name)));
    if (it) pick.value = it.key;
    at("which").hidden = now.solids.length < 2;
    if (it && sighted === it.key) return walked();
    const eye = view && it && it.file === file ? view.eye() : null; // the same surface with other notes: one goes on looking from where one was
    const old = at("view").querySelector("canvas");
    if (old) { const gl = old.getContext("webgl"); const give = gl && gl.getExtension("WEBGL_lose_context"); if (give) give.loseContext(); }
    view = null; sighted = it ? it.key : ""; file = "";
    at("sight").hidden = !it;
    walked();
    if (!it) return fill(at("view"));
    fill(at("view"), e("p", { className: "small" }, "Reducing the surface for the view; millions of triangles take some seconds."));
    const mine = now.ID;
    try {
      const got = await ask("/solid?id=" + encodeURIComponent(mine) + "&key=" + it.key);
      if (open !== mine || sighted !== it.key) return;
      file = got.file;
      view = layetteViewer(at("view"), got.solid);
      if (eye) view.look(eye); else if (spot >= 0) fly();
    } catch (err) {
      if (open !== mine || sighted !== it.key) return;
      fill(at("view"), e("p", { className: "small" }, "No 3D view: " + err.message + ". The pictures show the same."));
      at("album").open = true;
    }
  }
  at("surface").onchange = () => sight();

  // ---- the pictures: what the 3D view shows, for those who have none or want none

  let drawn = "";
  function album() {
    at("album").hidden = !some(now.solids);
    if (at("album").open) pictures();
  }
  async function pictures() {
    const mine = now.ID, key = now.key + JSON.stringify(now.solids);
    if (drawn === key) return;
    drawn = key;
    fill(at("pictures"), e("p", { className: "small", role: "status" }, "Drawing; the first time takes some seconds a surface."));
    try {
      const list = await ask("/pictures?id=" + encodeURIComponent(mine));
      if (open !== mine || drawn !== key) return;
      const img = (src, alt) => src && e("img", { src, alt });
      fill(at("pictures"), e("div", { className: "pictures" }, ...list.map(p => e("figure", { className: "picture" + (p.photo || p.lacks ? " both" : "") }, e("figcaption", {}, p.title), img(p.src, p.title),
        img(p.photo, "photograph from the same side"), p.lacks && e("p", { className: "lack" }, "No photograph: " + p.lacks + ".")))));
    } catch (err) { drawn = ""; if (open === mine) fill(at("pictures"), e("p", { className: "small" }, "No pictures: " + err.message)); }
  }
  at("album").ontoggle = () => { if (at("album").open && now) pictures(); };
  at("view").addEventListener("layette-note", ev => {
    keep({ file, at: ev.detail.at, radius: 1, words: ev.detail.text });
    at("view").querySelector(".told").textContent = "Pinned. It goes with the next word you give about this stage.";
  });
  function keep(pin) {
    (pins[open] = pins[open] || []).push(pin);
    if (word) showPins(); else at("told").textContent = "Noted; it goes with the next word you give about " + open + ".";
  }
  // to which spots one has gone, on this surface and in this sitting
  const gone = {};
  const went = () => gone[now.ID + now.key] || (gone[now.ID + now.key] = new Set());
  function walk(i, see) {
    const list = now.Spots || [];
    if (!list.length) return;
    spot = (i + list.length) % list.length;
    went().add(list[spot].n);
    walked();
    const rows = at("found").querySelectorAll(".spots li"), box = at("found").querySelector(".spots");
    rows.forEach((li, k) => li.setAttribute("aria-current", k === spot));
    rows[spot].querySelector(".went").textContent = " ✓ looked at";
    box.scrollTop = rows[spot].offsetTop - box.offsetTop - box.clientHeight / 3;
    const it = surface();
    if (it && it.key !== sighted) sight(); else fly();
    if (see && !at("sight").hidden) at("sight").scrollIntoView({ block: "start" });
  }
  function fly() { const s = now.Spots[spot]; if (view && s) view.fly(s.what, s.n); }
  function walked() {
    const list = now.Spots || [], s = list[spot];
    at("walk").hidden = !list.length;
    at("here").disabled = !s || !now.speak;
    at("spot").textContent = s ? "Spot " + s.n + " (" + (spot + 1) + " of " + list.length + "): " + s.what + " " + s.value + ". " + s.says : list.length + (list.length === 1 ? " spot" : " spots") + " to look at.";
  }
  at("before").onclick = () => walk(spot < 0 ? -1 : spot - 1);
  at("after").onclick = () => walk(spot + 1);
  at("here").onclick = () => { const s = now.Spots[spot]; keep({ file, at: s.at, radius: s.r, words: "spot " + s.n + ": " + s.says }); };
  at("sight").addEventListener("keydown", ev => {
    if (ev.ctrlKey || ev.altKey || ev.metaKey || /^(INPUT|SELECT|TEXTAREA)$/.test(ev.target.tagName)) return;
    if (ev.key === "n") walk(spot + 1); else if (ev.key === "p") walk(spot < 0 ? -1 : spot - 1); else return;
    ev.preventDefault();
  });

  // ---- a word: what it is bound to, what goes with it, and the key

  const verdicts = {
    approve: "approve: this may go on", made: "made: I made these files", withdraw: "withdraw: I take back what I said",
    hold: "hold: it stops until this is answered", reject: "reject: it must be made anew" };
  async function look(how) {
    fill(at("form"), e("p", { role: "status" }, "Reading every file afresh …"));
    word = null;
    const id = open;
    try {
      const [v, keys] = await Promise.all([ask("/look", Object.assign({ id, verdict: "", gate: "" }, how)), ask("/keys")]);
      if (id !== open) return;
      word = { how, v, keys };
      show();
    } catch (err) {
      fill(at("form"), e("div", { className: "word", role: "alert" }, e("p", { className: "problem" }, err.message), choice(how)));
    }
  }
  // another sense in which something may be said
  function choice(how) {
    if (how.gate) return null;
    const list = how.verdict === "hold" || how.verdict === "reject" ? ["hold", "reject"] : ["approve", "made", "withdraw"];
    const pick = e("select", { onchange: () => look({ verdict: pick.value }) }, ...list.map(k => e("option", { value: k }, verdicts[k])));
    pick.value = (word && word.v.verdict) || how.verdict || "approve";
    return e("label", {}, "What you say", pick);
  }
  const field = (label, name, set) => {
    const it = e(set && set.rows ? "textarea" : "input", Object.assign({ type: set && set.rows ? undefined : "text", name, autocomplete: "off", maxLength: 500 }, set));
    return e("label", {}, label, it);
  };
  function show() {
    const { v, how, keys } = word;
    const stops = v.verdict === "hold" || v.verdict === "reject";
    const form = e("form", { className: "word", onsubmit: ev => { ev.preventDefault(); send(form); } },
      e("h3", { tabIndex: -1 }, v.gate ? "A concession on gate " + v.gate : stops ? "A hold" : "A sign-off"),
      choice(how),
      e("fieldset", {}, e("legend", {}, "This is what it is bound to"), digests("files", v.files), digests("made from", v.from),
        some(v.saw) && e("div", {}, e("p", { className: "small" }, "and what was shown:"), e("ul", { className: "saw small", tabIndex: 0, ariaLabel: "measures and gates as shown" }, ...v.saw.map(l => e("li", {}, l)))),
        e("p", { className: "small code digest" }, "what was shown has digest " + v.state),
        some(now.Spots) && e("p", { className: "small" }, "In this sitting you went to " + went().size + " of " + now.Spots.length + " spots.")),
      some(v.questions) && e("fieldset", {}, e("legend", {}, "The recipe asks"), ...v.questions.map(q => e("label", { className: "tick" }, e("input", { type: "checkbox", name: "tick", value: q, required: true }), "Yes: " + q))),
      some(v.open) && e("fieldset", {}, e("legend", {}, "This stands against it"), ...v.open.map(o => e("label", { className: "tick" }, e("input", { type: "checkbox", name: "answer", value: o.record }), "My word answers the " + o.verdict + " of " + o.name + " (" + o.record + "): " + o.says))),
      v.gate && e("fieldset", {}, e("legend", {}, "The concession"), field("What is wrong", "fault", { value: v.fault, required: true }), field("What is done about it", "action", { value: "none: it goes on as it is", required: true }),
        field("Why it may go on", "reason", { rows: 2, required: true }), e("p", { className: "small" }, "The recipe lets a " + v.role + " decide this.")),
      e("fieldset", {}, e("legend", {}, "Notes"), v.gate ? null : e("div", { className: "pins", id: "pins" }), field("A note to go with it" + (stops ? ": why it must stop" : ""), "note", { rows: 3 })),
      e("fieldset", {}, e("legend", {}, "Its meaning"), v.fixed ? e("blockquote", {}, v.meaning) : field("What you vouch for", "meaning", { value: v.meaning, required: true })),
      e("fieldset", {}, e("legend", {}, "Your key"), ...keyFields(keys)),
      e("p", { className: "mind", id: "mind", hidden: true }), e("p", { className: "problem", id: "refused", role: "alert", hidden: true }),
      e("div", { className: "last" }, e("button", { type: "submit", className: "sure", id: "sure" }, "sign"), e("button", { type: "button", onclick: close }, "leave it"),
        e("span", { className: "small" }, "Every file is read once more before it is signed.")));
    fill(at("form"), form);
    showPins();
    chosen();
    form.querySelector("h3").focus();
    form.scrollIntoView({ block: "nearest" });
  }
  function digests(title, list) {
    return some(list) && e("div", { className: "wide", tabIndex: 0, role: "region", ariaLabel: title }, e("table", {}, e("caption", { className: "away" }, title),
      e("tbody", {}, ...list.map((f, i) => e("tr", {}, e("th", { scope: "row" }, title === "files" ? i + 1 + ". " + f.label : "made from " + f.label), e("td", { className: "num" }, bytes(f.size)), e("td", { className: "code digest" }, f.sha256))))));
  }
  function showPins() {
    const list = pins[open] || [], into = at("pins");
    if (!into) return;
    fill(into, list.length ? e("ul", {}, ...list.map((p, i) => e("li", {}, p.words + " (at " + p.at.map(x => x.toFixed(1)).join(", ") + " mm)",
      e("button", { type: "button", ariaLabel: "take away the note " + p.words, onclick: () => { list.splice(i, 1); showPins(); } }, "take away")))) :
      e("p", { className: "small" }, "No note is pinned. Pin one in the 3D view with “pin a note”, or at a spot with “note here”."));
  }
  function keyFields(keys) {
    const pick = e("select", { id: "key", onchange: chosen }, ...keys.map((k, i) => e("option", { value: i }, k.printed + " (" + k.roles.join(", ") + "): " + k.name)), e("option", { value: "file" }, "another key file …"));
    return [e("label", {}, "Sign with", pick),
      e("div", { id: "other" }, field("The private key’s file", "file"), e("button", { type: "button", onclick: other }, "look whose it is")),
      e("div", { id: "locked" }, e("label", {}, "Its passphrase, for this one signature", e("input", { type: "password", name: "passphrase", autocomplete: "off" })))];
  }
  function chosen() {
    const pick = at("key"), k = pick.value === "file" ? null : word.keys[+pick.value];
    word.key = k;
    at("other").hidden = !!k;
    at("locked").hidden = !k || !k.locked;
    at("sure").disabled = !k;
    at("sure").textContent = k ? "sign as " + k.printed : "sign";
    const role = word.v.role, lacks = k && role && (word.v.gate || word.v.verdict === "approve") && !k.roles.includes(role);
    at("mind").hidden = !lacks;
    at("mind").textContent = lacks ? "The recipe asks for a " + role + "; " + k.printed + " is enrolled as " + k.roles.join(", ") + (word.v.gate ? "." : ", so this will not count.") : "";
  }
  async function other() {
    const input = at("other").querySelector("input");
    try {
      const k = await ask("/key", { file: input.value });
      word.keys.push(k);
      const o = e("option", { value: word.keys.length - 1 }, k.printed + " (" + k.roles.join(", ") + "): " + k.name);
      at("key").insertBefore(o, at("key").lastChild);
      at("key").value = o.value;
      refused("");
      chosen();
    } catch (err) { refused(err.message); }
  }
  function refused(text) { const it = at("refused"); if (it) { it.hidden = !text; it.textContent = text; } }
  function stale() {
    const it = at("refused");
    if (!it || it.dataset.again) return;
    it.dataset.again = "yes";
    refused("The stage has changed since this was shown. ");
    it.append(e("button", { type: "button", onclick: () => look(word.how) }, "look again"));
  }
  function close() { fill(at("form")); word = null; }
  async function send(form) {
    const { v, key } = word, secret = form.elements.passphrase, values = name => [...form.querySelectorAll("[name=" + name + "]:checked")].map(c => c.value);
    const text = name => form.elements[name] ? form.elements[name].value : "";
    const body = { id: v.ID || v.id, verdict: v.verdict || "", gate: v.gate || "", seen: v.seen, meaning: v.fixed ? "" : text("meaning"),
      notes: text("note").split("\n").map(l => l.trim()).filter(Boolean), pins: v.gate ? [] : pins[open] || [], ticks: values("tick"), answers: values("answer"),
      reason: text("reason"), fault: text("fault"), action: text("action"), key: key.name, person: key.person,
      passphrase: btoa(String.fromCharCode(...new TextEncoder().encode(secret.value))) };
    secret.value = "";
    at("sure").disabled = true;
    refused("");
    try {
      const s = await ask("/sign", body);
      delete pins[open];
      word = null;
      const told = e("div", { className: "word", role: "status", tabIndex: -1 }, e("h3", {}, "Signed"), e("div", { className: "signature" }, e("p", { className: "name" }, s.name),
        pairs([["time", s.time], ["meaning", s.meaning], ["record", s.record, "code"], ["now", open + " is " + s.state + (s.says ? ": " + s.says : "")]])));
      fill(at("form"), told);
      told.focus();
    } catch (err) {
      refused(err.message);
      if (at("sure")) at("sure").disabled = false;
    }
    body.passphrase = "";
  }

  // ---- begin

  at("run").onclick = () => ask("/run", { only: [] }).then(() => trouble(""), trouble);
  at("stop").onclick = () => ask("/stop", {}).catch(trouble);
  addEventListener("hashchange", arrive);
  if (location.hash.startsWith("#stage=")) { open = decodeURIComponent(location.hash.slice(7)); }
  listen(heard);
})();
