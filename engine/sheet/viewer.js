// layetteViewer(element, solid) shows a solid (see packed in solid.go) in
// element and returns {fly(what, number), eye(), look(eye), pins}. It turns, zooms and pans by
// mouse, touch and keyboard, shows values, cuts, measures, flies to spots and
// takes notes pinned to places; each new note is also sent from element as the
// event "layette-note" with its place and text. It draws only when something
// changes.
function layetteViewer(element, solid) {
  "use strict";
  var add = function (a, b) { return [a[0] + b[0], a[1] + b[1], a[2] + b[2]]; };
  var sub = function (a, b) { return [a[0] - b[0], a[1] - b[1], a[2] - b[2]]; };
  var mul = function (a, k) { return [a[0] * k, a[1] * k, a[2] * k]; };
  var dot = function (a, b) { return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]; };
  var cross = function (a, b) { return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]; };
  var len = function (a) { return Math.sqrt(dot(a, a)); };
  var unit = function (a) { var l = len(a); return l ? mul(a, 1 / l) : [0, 0, 1]; };
  var clamp = function (x, lo, hi) { return Math.min(Math.max(x, lo), hi); };

  // ---- what was packed

  function bytes(text) {
    var s = atob(text), b = new Uint8Array(s.length);
    for (var i = 0; i < s.length; i++) b[i] = s.charCodeAt(i);
    return b;
  }
  function reader(text) { // numbers in sevens, zigzagged
    var b = bytes(text), at = 0;
    return function () {
      var u = 0, shift = 0, c;
      do { c = b[at++]; u |= (c & 127) << shift; shift += 7; } while (c & 128);
      return (u >>> 1) ^ -(u & 1);
    };
  }
  var n = solid.verts, middle = add(solid.low, mul(solid.size, 0.5)), radius = Math.max(len(solid.size) / 2, 1e-6);
  var places = new Float32Array(3 * n), normals = new Float32Array(3 * n), index = new Uint32Array(3 * solid.tris);
  (function () {
    var next = reader(solid.places), last = [0, 0, 0], i, k;
    for (i = 0; i < n; i++) for (k = 0; k < 3; k++) {
      last[k] += next();
      places[3 * i + k] = solid.low[k] + solid.size[k] * last[k] / 65535 - middle[k];
    }
    next = reader(solid.index);
    for (var fresh = 0, j = 0; j < index.length; j++) {
      index[j] = fresh - next();
      if (index[j] + 1 > fresh) fresh = index[j] + 1;
    }
    for (j = 0; j < index.length; j += 3) {
      var a = point(index[j]), c = cross(sub(point(index[j + 1]), a), sub(point(index[j + 2]), a));
      for (k = 0; k < 3; k++) for (i = 0; i < 3; i++) normals[3 * index[j + k] + i] += c[i];
    }
  })();
  function point(i) { return [places[3 * i], places[3 * i + 1], places[3 * i + 2]]; }
  var layers = solid.layers || [], spots = (solid.spots || []).map(function (s) {
    return { n: s.n, what: s.what, value: s.value, says: s.says, fault: s.fault, r: s.r || 0, at: sub(s.at, middle) };
  });

  // ---- what is drawn with

  element.textContent = "";
  function make(tag, into, properties) {
    var e = document.createElement(tag);
    Object.keys(properties || {}).forEach(function (k) { e[k] = properties[k]; });
    into.appendChild(e);
    return e;
  }
  var box = make("div", element);
  box.style.position = "relative";
  var canvas = make("canvas", box, { tabIndex: 0 });
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", solid.name + " in three dimensions. Arrow keys turn, with shift they pan, plus and minus zoom, 0 shows the whole part, t true scale.");
  var over = make("div", box, { className: "over" });
  var tools = make("div", element, { className: "tools" });
  var told = make("p", element, { className: "told" });
  told.setAttribute("role", "status");
  var pinList = make("ol", element, { className: "pins" });
  var gl = canvas.getContext("webgl", { antialias: true, preserveDrawingBuffer: true });
  if (!gl) throw new Error("no WebGL");
  var creases = gl.getExtension("OES_standard_derivatives"); // without it sharp edges look round
  if (!gl.getExtension("OES_element_index_uint")) throw new Error("large surfaces are not supported");
  canvas.addEventListener("webglcontextlost", function (e) { e.preventDefault(); told.textContent = "The graphics were taken away by the system; open the page again to see this view."; });

  var program = gl.createProgram();
  [[gl.VERTEX_SHADER,
    "attribute vec3 place, normal; attribute vec4 tone; uniform mat4 sight; uniform mat3 turn; varying vec3 at, n, seen; varying vec4 c;" +
    "void main() { at = place; seen = turn * place; n = turn * normal; c = tone; gl_Position = sight * vec4(place, 1.0); }"],
  [gl.FRAGMENT_SHADER,
    (creases ? "#extension GL_OES_standard_derivatives : enable\n" : "") + "precision highp float; varying vec3 at, n, seen; varying vec4 c; uniform vec4 plane; uniform float cut; uniform vec3 lamp;" +
    "void main() { if (cut > 0.5 && dot(at, plane.xyz) > plane.w) discard; vec3 d = normalize(n);" +
    (creases ? "vec3 flat_ = normalize(cross(dFdx(seen), dFdy(seen))); if (!gl_FrontFacing) flat_ = -flat_; if (dot(flat_, d) < 0.7) d = flat_;" : "") +
    "if (!gl_FrontFacing) { if (cut > 0.5) { float h = step(0.78, fract((gl_FragCoord.x + gl_FragCoord.y) / 9.0));" +
    "gl_FragColor = vec4(mix(vec3(0.90, 0.87, 0.82), vec3(0.44, 0.43, 0.42), h), 1.0); return; } d = -d; }" +
    "float key = max(0.0, (dot(d, lamp) + 0.12) / 1.12), fill = max(0.0, (dot(d, normalize(vec3(0.8, 0.05, 0.6))) + 0.4) / 1.4);" +
    "float rim = max(0.0, dot(d, normalize(vec3(0.35, 0.55, -0.76))) + 0.25) * (1.0 - max(0.0, d.z)), sky = 0.5 + 0.5 * d.y;" +
    "vec3 stuff = gl_FrontFacing ? vec3(0.60, 0.545, 0.485) : vec3(0.30, 0.33, 0.37);" +
    "vec3 light = key * vec3(0.96, 0.91, 0.83) + fill * vec3(0.15, 0.17, 0.20) + rim * vec3(0.34) + mix(vec3(0.15, 0.135, 0.12), vec3(0.27, 0.28, 0.30), sky);" +
    "vec3 clay = stuff * light; vec3 read = c.rgb * c.rgb * (0.56 + 0.46 * key);" +
    "gl_FragColor = vec4(sqrt(mix(clay, read, gl_FrontFacing ? c.a : 0.0)), 1.0); }"]
  ].forEach(function (part) {
    var s = gl.createShader(part[0]);
    gl.shaderSource(s, part[1]); gl.compileShader(s);
    if (!gl.getShaderParameter(s, gl.COMPILE_STATUS)) throw new Error("the graphics refuse the shading");
    gl.attachShader(program, s);
  });
  gl.linkProgram(program); gl.useProgram(program);
  function attribute(name, data, size, type, normalise) {
    var b = gl.createBuffer(), at = gl.getAttribLocation(program, name);
    gl.bindBuffer(gl.ARRAY_BUFFER, b); gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
    gl.enableVertexAttribArray(at); gl.vertexAttribPointer(at, size, type, normalise, 0, 0);
    return b;
  }
  attribute("place", places, 3, gl.FLOAT, false);
  attribute("normal", normals, 3, gl.FLOAT, false);
  var tones = new Uint8Array(4 * n), toneBuffer = attribute("tone", tones, 4, gl.UNSIGNED_BYTE, true);
  gl.bindBuffer(gl.ELEMENT_ARRAY_BUFFER, gl.createBuffer());
  gl.bufferData(gl.ELEMENT_ARRAY_BUFFER, index, gl.STATIC_DRAW);
  var uniform = {};
  ["sight", "turn", "plane", "cut", "lamp"].forEach(function (k) { uniform[k] = gl.getUniformLocation(program, k); });
  gl.enable(gl.DEPTH_TEST);
  var back = [0.937, 0.922, 0.882];

  // ---- where one looks from: round and over in radians (a part faces +Y, its
  // right is +X, +Z is up), half the height in mm

  var home = { round: -0.5, over: 0.2 };
  var eye = { round: home.round, over: home.over, half: radius, target: [0, 0, 0] };
  // half the height at which the whole part fits as it is turned at first,
  // however narrow the view, and where its middle then lies
  function room() {
    var keep = eye, a, lo = [Infinity, Infinity], hi = [-Infinity, -Infinity];
    eye = home; a = axes(); eye = keep;
    for (var i = 0; i < n; i++) [dot(point(i), a.x), dot(point(i), a.y)].forEach(function (x, k) { lo[k] = Math.min(lo[k], x); hi[k] = Math.max(hi[k], x); });
    var aspect = canvas.clientWidth / Math.max(canvas.clientHeight, 1) || 1;
    return { round: home.round, over: home.over, half: 0.57 * Math.max(hi[1] - lo[1], (hi[0] - lo[0]) / aspect), target: add(mul(a.x, (lo[0] + hi[0]) / 2), mul(a.y, (lo[1] + hi[1]) / 2)) };
  }
  var trueScale = false, lampRound = -0.75, plane = null;
  var calm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  function axes() {
    var z = [-Math.sin(eye.round) * Math.cos(eye.over), Math.cos(eye.round) * Math.cos(eye.over), Math.sin(eye.over)];
    var x = [-Math.cos(eye.round), -Math.sin(eye.round), 0];
    return { x: x, y: cross(z, x), z: z };
  }
  function wide() { return eye.half * canvas.clientWidth / Math.max(canvas.clientHeight, 1); }
  function distance() { return trueScale ? 0 : 5 * eye.half; }
  // where a point falls: pixels of the page, and depth towards the eye
  function project(p) {
    var a = axes(), q = sub(p, eye.target), z = dot(q, a.z), e = distance(), k = e ? e / Math.max(e - z, 1e-6) : 1;
    return [(1 + dot(q, a.x) * k / wide()) * canvas.clientWidth / 2, (1 - dot(q, a.y) * k / eye.half) * canvas.clientHeight / 2, z, !e || z < e];
  }
  function ray(px, py) {
    var a = axes(), e = distance();
    var q = add(mul(a.x, (2 * px / canvas.clientWidth - 1) * wide()), mul(a.y, (1 - 2 * py / canvas.clientHeight) * eye.half));
    return e ? { o: add(eye.target, mul(a.z, e)), d: unit(sub(q, mul(a.z, e))) } : { o: add(add(eye.target, q), mul(a.z, 4 * radius + len(eye.target))), d: mul(a.z, -1) };
  }
  // the first triangle that a ray meets beyond least (Möller and Trumbore 1997, from memory)
  function meet(o, d, least) {
    var best = Infinity;
    for (var j = 0; j < index.length; j += 3) {
      var a = 3 * index[j], b = 3 * index[j + 1], c = 3 * index[j + 2];
      var ax = places[a], ay = places[a + 1], az = places[a + 2];
      var ux = places[b] - ax, uy = places[b + 1] - ay, uz = places[b + 2] - az, vx = places[c] - ax, vy = places[c + 1] - ay, vz = places[c + 2] - az;
      var px = d[1] * vz - d[2] * vy, py = d[2] * vx - d[0] * vz, pz = d[0] * vy - d[1] * vx, det = ux * px + uy * py + uz * pz;
      if (det === 0) continue;
      var tx = o[0] - ax, ty = o[1] - ay, tz = o[2] - az, u = (tx * px + ty * py + tz * pz) / det;
      if (u < 0 || u > 1) continue;
      var qx = ty * uz - tz * uy, qy = tz * ux - tx * uz, qz = tx * uy - ty * ux, v = (d[0] * qx + d[1] * qy + d[2] * qz) / det;
      if (v < 0 || u + v > 1) continue;
      var t = (vx * qx + vy * qy + vz * qz) / det;
      if (t > least && t < best && !(plane && gone(add(o, mul(d, t))))) best = t;
    }
    return best === Infinity ? null : add(o, mul(d, best));
  }
  function gone(p) { return dot(p, plane.n) > plane.d; }

  function trueHalf() { return canvas.clientHeight / 2 * 25.4 / 96; }

  var asked = false;
  function draw() { if (!asked) { asked = true; requestAnimationFrame(paint); } }
  function paint() {
    asked = false;
    var ratio = Math.min(devicePixelRatio || 1, 2), w = Math.round(canvas.clientWidth * ratio), h = Math.round(canvas.clientHeight * ratio);
    if (!w || !h) return;
    if (canvas.width !== w || canvas.height !== h) { canvas.width = w; canvas.height = h; }
    if (trueScale) eye.half = trueHalf();
    var a = axes(), t = eye.target, e = distance(), W = wide(), H = eye.half, Z = radius * 1.05 + len(t), m;
    if (e) {
      var near = Math.max(e - Z, e * 0.02), far = e + Z, k = (far + near) / (far - near), g = 2 * far * near / (far - near);
      m = [a.x[0] * e / W, a.y[0] * e / H, -k * a.z[0], -a.z[0], a.x[1] * e / W, a.y[1] * e / H, -k * a.z[1], -a.z[1],
        a.x[2] * e / W, a.y[2] * e / H, -k * a.z[2], -a.z[2], -dot(a.x, t) * e / W, -dot(a.y, t) * e / H, k * (e + dot(a.z, t)) - g, e + dot(a.z, t)];
    } else {
      m = [a.x[0] / W, a.y[0] / H, -a.z[0] / Z, 0, a.x[1] / W, a.y[1] / H, -a.z[1] / Z, 0, a.x[2] / W, a.y[2] / H, -a.z[2] / Z, 0,
        -dot(a.x, t) / W, -dot(a.y, t) / H, dot(a.z, t) / Z, 1];
    }
    gl.viewport(0, 0, w, h);
    gl.clearColor(back[0], back[1], back[2], 1);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.uniformMatrix4fv(uniform.sight, false, m);
    gl.uniformMatrix3fv(uniform.turn, false, [a.x[0], a.y[0], a.z[0], a.x[1], a.y[1], a.z[1], a.x[2], a.y[2], a.z[2]]);
    gl.uniform1f(uniform.cut, plane ? 1 : 0);
    gl.uniform4f(uniform.plane, plane ? plane.n[0] : 0, plane ? plane.n[1] : 0, plane ? plane.n[2] : 0, plane ? plane.d : 0);
    var l = unit([Math.sin(lampRound) * 0.83, 0.62, Math.cos(lampRound) * 0.83]);
    gl.uniform3f(uniform.lamp, l[0], l[1], l[2]);
    gl.drawElements(gl.TRIANGLES, index.length, gl.UNSIGNED_INT, 0);
    overlay();
  }

  // ---- what lies over it: spots, notes, measuring, ruler, legend

  var line = document.createElementNS("http://www.w3.org/2000/svg", "svg");
  line.style.cssText = "position:absolute;inset:0;width:100%;height:100%"; // an attribute would not pass a page's policy
  line.setAttribute("aria-hidden", "true");
  over.appendChild(line);
  var ruler = make("div", over, { className: "ruler" }), rulerText = make("span", ruler);
  var legend = make("div", over, { className: "legend" });
  var markers = [];
  function marker(thing, text, className, label) {
    var b = make("button", over, { type: "button", className: "pin " + className, textContent: text });
    b.setAttribute("aria-label", label);
    b.onclick = function () { flyTo(thing); };
    markers.push({ b: b, thing: thing });
    return b;
  }
  spots.forEach(function (s) { marker(s, s.n, s.fault ? "fault" : "", "spot " + s.n + ", " + s.what + " " + s.value); });
  var settle, ends = [];
  function overlay() {
    var stand = []; // where numbers stand; what would cover one is a dot
    markers.forEach(function (m) {
      var p = project(m.thing.at), out = !p[3] || p[0] < 0 || p[1] < 0 || p[0] > canvas.clientWidth || p[1] > canvas.clientHeight || (plane && gone(m.thing.at));
      m.b.style.display = out ? "none" : "";
      m.b.style.left = p[0] + "px"; m.b.style.top = p[1] + "px";
      var crowded = !m.b.classList.contains("now") && stand.some(function (q) { return Math.abs(q[0] - p[0]) < 30 && Math.abs(q[1] - p[1]) < 26; });
      m.b.classList.toggle("dot", crowded);
      if (!out && !crowded) stand.push(p);
    });
    clearTimeout(settle);
    settle = setTimeout(hide, 120);
    while (line.firstChild) line.removeChild(line.firstChild);
    ends.forEach(function (p, i) {
      var at = project(p), c = document.createElementNS("http://www.w3.org/2000/svg", i ? "line" : "circle"), q = i ? project(ends[i - 1]) : at;
      var set = i ? { x1: q[0], y1: q[1], x2: at[0], y2: at[1] } : { cx: at[0], cy: at[1], r: 4, fill: "none" };
      Object.keys(set).forEach(function (k) { c.setAttribute(k, set[k]); });
      c.setAttribute("stroke", "#2c5673"); c.setAttribute("stroke-width", "2.5");
      line.appendChild(c);
    });
    var perMM = canvas.clientHeight / 2 / eye.half, mm = round125(canvas.clientWidth * 0.25 / perMM);
    ruler.style.width = mm * perMM + "px";
    rulerText.textContent = +mm.toPrecision(3) + " mm" + (trueScale ? ", true scale" : "");
  }
  // spots behind the part are drawn pale
  function hide() {
    var a = axes(), e = distance();
    markers.forEach(function (m) {
      if (m.b.style.display === "none") return;
      var to = e ? unit(sub(add(eye.target, mul(a.z, e)), m.thing.at)) : a.z;
      var from = add(m.thing.at, mul(to, 0.002 * radius + 0.1));
      m.b.classList.toggle("hidden", !!meet(from, to, 0) || buried(from, to));
    });
  }
  // whether solid that was cut through lies between a place and the eye: the
  // sight line comes out of the part once more than it goes in beyond the cut
  function buried(o, d) {
    if (!plane || dot(d, plane.n) <= 0) return false;
    var out = 0, reach = 8 * radius, at = add(o, mul(d, (plane.d - dot(o, plane.n)) / dot(d, plane.n))), keep = plane;
    plane = null;
    for (var p = meet(at, d, 0), k = 0; p && k < 64; p = meet(p, d, reach * 1e-6), k++) out++;
    plane = keep;
    return out % 2 === 1;
  }
  function round125(x) {
    var p = Math.pow(10, Math.floor(Math.log10(x)));
    return x >= 5 * p ? 5 * p : x >= 2 * p ? 2 * p : p;
  }

  // ---- moving

  function flyTo(thing) {
    var near = 0, best = Infinity, i, d;
    for (i = 0; i < n; i++) { d = sub(point(i), thing.at); d = dot(d, d); if (d < best) { best = d; near = i; } }
    var v = unit([normals[3 * near], normals[3 * near + 1], normals[3 * near + 2]]);
    var to = { round: Math.atan2(-v[0], v[1]), over: clamp(Math.asin(clamp(v[2], -1, 1)), -1.3, 1.3), half: clamp(12 * (thing.r || 0.8), radius * 0.08, radius * 0.5), target: thing.at };
    if (Math.hypot(v[0], v[1]) < 0.2) to.round = eye.round;
    setScale(false);
    go(to);
    markers.forEach(function (m) { m.b.classList.toggle("now", m.thing === thing); });
    told.textContent = (thing.n ? "Spot " + thing.n + ": " + thing.what + " " + thing.value + ". " : "Note: ") + (thing.says || "");
  }
  var flight = 0;
  function go(to) {
    var from = { round: eye.round, over: eye.over, half: eye.half, target: eye.target }, start = performance.now(), mine = ++flight;
    to.round = from.round + Math.atan2(Math.sin(to.round - from.round), Math.cos(to.round - from.round));
    function step(now) {
      if (mine !== flight) return;
      var k = clamp((now - start) / 450, 0, 1), s = k * k * (3 - 2 * k);
      eye.round = from.round + (to.round - from.round) * s; eye.over = from.over + (to.over - from.over) * s;
      eye.half = from.half * Math.pow(to.half / from.half, s); eye.target = add(from.target, mul(sub(to.target, from.target), s));
      paint();
      if (k < 1) requestAnimationFrame(step);
    }
    if (calm) step(Infinity); else requestAnimationFrame(step);
  }
  function turn(dx, dy) { flight++; eye.round -= dx; eye.over = clamp(eye.over + dy, -1.55, 1.55); draw(); }
  function pan(px, py) {
    flight++;
    var a = axes(), k = 2 * eye.half / canvas.clientHeight;
    eye.target = add(eye.target, add(mul(a.x, -px * k), mul(a.y, py * k)));
    var far = len(eye.target); // never out of reach
    if (far > 1.5 * radius) eye.target = mul(eye.target, 1.5 * radius / far);
    draw();
  }
  function zoom(k) { flight++; setScale(false); eye.half = clamp(eye.half * k, radius * 0.01, radius * 4); draw(); }
  function setScale(on) {
    if (trueScale === on) return;
    trueScale = on;
    scaleButton.setAttribute("aria-pressed", on);
    if (on) told.textContent = "True scale for a screen of 96 pixels an inch: hold a ruler to the bar before you trust it.";
    eye.half = on ? trueHalf() : Math.max(eye.half, radius * 0.01);
    draw();
  }

  var held = {}, moved = 0;
  canvas.addEventListener("pointerdown", function (e) {
    canvas.setPointerCapture(e.pointerId);
    held[e.pointerId] = [e.clientX, e.clientY]; moved = 0;
  });
  canvas.addEventListener("pointermove", function (e) {
    var was = held[e.pointerId];
    if (!was) return;
    var dx = e.clientX - was[0], dy = e.clientY - was[1], ids = Object.keys(held);
    moved += Math.abs(dx) + Math.abs(dy);
    if (ids.length === 2) {
      var other = held[ids[0] === String(e.pointerId) ? ids[1] : ids[0]];
      var before = Math.hypot(was[0] - other[0], was[1] - other[1]), after = Math.hypot(e.clientX - other[0], e.clientY - other[1]);
      if (before > 4 && after > 4 && Math.abs(after / before - 1) > 0.001) zoom(before / after);
      pan(dx / 2, dy / 2);
    } else if (e.shiftKey || e.buttons & 2) pan(dx, dy);
    else turn(dx * 0.008, dy * 0.008);
    held[e.pointerId] = [e.clientX, e.clientY];
  });
  function up(e) {
    var clicked = held[e.pointerId] && moved < 5 && e.type === "pointerup" && Object.keys(held).length === 1;
    delete held[e.pointerId];
    if (!clicked) return;
    canvas.focus({ preventScroll: true });
    var b = canvas.getBoundingClientRect(), r = ray(e.clientX - b.left, e.clientY - b.top), p = meet(r.o, r.d, 0);
    if (p) touched(p);
  }
  canvas.addEventListener("pointerup", up);
  canvas.addEventListener("pointercancel", up);
  canvas.addEventListener("contextmenu", function (e) { e.preventDefault(); });
  canvas.addEventListener("wheel", function (e) {
    if (document.activeElement !== canvas && !e.ctrlKey) return; // else the page scrolls
    e.preventDefault();
    zoom(Math.pow(1.0015, e.deltaY));
  }, { passive: false });
  canvas.addEventListener("focus", function () { canvas.style.touchAction = "none"; });
  canvas.addEventListener("blur", function () { canvas.style.touchAction = "pan-y"; });
  canvas.style.touchAction = "pan-y";
  canvas.addEventListener("keydown", function (e) {
    var x = { ArrowLeft: -1, ArrowRight: 1 }[e.key] || 0, y = { ArrowUp: -1, ArrowDown: 1 }[e.key] || 0;
    if (e.ctrlKey || e.altKey || e.metaKey) return;
    if (x || y) { if (e.shiftKey) pan(-x * 24, -y * 24); else turn(x * 0.09, y * 0.09); }
    else if (e.key === "+" || e.key === "=") zoom(0.85);
    else if (e.key === "-") zoom(1 / 0.85);
    else if (e.key === "0") whole();
    else if (e.key === "t") setScale(!trueScale);
    else if (e.key === "Escape") { mode = ""; ends = []; buttons(); draw(); }
    else if (e.key === "Enter" && mode) { var p = meet(ray(canvas.clientWidth / 2, canvas.clientHeight / 2).o, ray(canvas.clientWidth / 2, canvas.clientHeight / 2).d, 0); if (p) touched(p); }
    else return;
    e.preventDefault();
  });
  function whole() { setScale(false); go(room()); }

  // ---- measuring and notes

  var mode = "", pins = [];
  function touched(p) {
    if (mode === "measure") {
      ends = ends.length === 1 ? [ends[0], p] : [p];
      told.textContent = ends.length === 2 ? "Straight across: " + len(sub(ends[1], ends[0])).toFixed(2) + " mm" + (solid.strays ? " (the view strays by up to " + solid.strays.toFixed(2) + " mm)" : "") + "." : "Now the other end.";
      draw();
    } else if (mode === "note") {
      told.textContent = "";
      var form = make("form", told), input = make("input", form, { type: "text", required: true, maxLength: 500 });
      input.setAttribute("aria-label", "the note");
      make("button", form, { type: "submit", textContent: "pin it" });
      form.onsubmit = function (e) { e.preventDefault(); pin(p, input.value); };
      input.focus();
    }
  }
  function pin(p, text) {
    var note = { at: p, says: text, r: 1 }, name = String.fromCharCode(65 + pins.length % 26), place = add(p, middle);
    pins.push(note);
    marker(note, name, "note", "note " + name + ": " + text);
    make("li", pinList, { textContent: name + ". " + text + " (at " + place.map(function (x) { return x.toFixed(1); }).join(", ") + " mm)" });
    told.textContent = "Pinned. Notes stay on this page only until it is closed.";
    mode = ""; buttons(); draw();
    element.dispatchEvent(new CustomEvent("layette-note", { bubbles: true, detail: { solid: solid.name, at: place, text: text } }));
  }

  // ---- the tools

  function button(text, act) { return make("button", tools, { type: "button", textContent: text, onclick: act }); }
  function labelled(text, tag, properties) {
    var l = make("label", tools, { textContent: text + " " });
    return make(tag, l, properties);
  }
  button("whole part", whole);
  [["front", 0, 0], ["its left", Math.PI / 2, 0], ["back", Math.PI, 0], ["its right", -Math.PI / 2, 0], ["above", 0, 1.55]].forEach(function (v) {
    button(v[0], function () { go({ round: v[1], over: v[2], half: eye.half, target: eye.target }); });
  });
  var scaleButton = button("true scale", function () { setScale(!trueScale); });
  var modes = { measure: button("measure", function () { choose("measure", "Touch the skin at one end, then at the other."); }),
    note: button("pin a note", function () { choose("note", "Touch the skin where the note belongs."); }) };
  function choose(m, says) { mode = mode === m ? "" : m; ends = []; told.textContent = mode ? says : ""; buttons(); draw(); }
  function buttons() { Object.keys(modes).forEach(function (m) { modes[m].setAttribute("aria-pressed", mode === m); }); }
  scaleButton.setAttribute("aria-pressed", false);
  buttons();
  if (layers.length) {
    var pick = labelled("values", "select");
    make("option", pick, { value: "", textContent: "none" });
    layers.forEach(function (l, i) { make("option", pick, { value: i, textContent: l.name }); });
    pick.onchange = function () { show(pick.value); };
    pick.value = "0";
  }
  function show(i) {
    var l = i === "" || i === undefined ? null : layers[+i], at = l && bytes(l.at);
    for (var v = 0; v < n; v++) {
      var share = l && at[v] ? (at[v] - 1) / 254 : -1, c = share < 0 ? [0, 0, 0] : tint(l.colours, share);
      tones.set([c[0], c[1], c[2], share < 0 ? 0 : 255], 4 * v);
    }
    gl.bindBuffer(gl.ARRAY_BUFFER, toneBuffer); gl.bufferData(gl.ARRAY_BUFFER, tones, gl.STATIC_DRAW);
    legend.textContent = "";
    if (l) {
      make("span", legend, { textContent: l.name + (l.unit ? ", " + l.unit : "") });
      make("i", legend).style.background = "linear-gradient(to right," + l.colours.map(function (c) { return "rgb(" + c.join(",") + ")"; }).join(",") + ")";
      var row = make("b", legend);
      make("span", row, { textContent: Math.abs(l.low) < (l.high - l.low) * 1e-4 ? 0 : +l.low.toPrecision(3) });
      if (l.limits && l.limits.length) make("span", row, { textContent: "limit " + l.limits.map(function (x) { return +x.toPrecision(3); }).join(", ") });
      make("span", row, { textContent: +l.high.toPrecision(3) });
    }
    draw();
  }
  function tint(stops, share) {
    var x = share * (stops.length - 1), i = Math.min(Math.floor(x), stops.length - 2), k = x - i;
    return stops[i].map(function (lo, j) { return Math.round(lo + (stops[i + 1][j] - lo) * k); });
  }
  var way = labelled("cut", "select"), deep = labelled("how deep", "input", { type: "range", min: -1, max: 1, step: 0.002, value: 0, disabled: true });
  [["", "none"], ["z", "level"], ["y", "upright, facing front"], ["x", "upright, facing its left"], ["me", "facing me"]].forEach(function (w) { make("option", way, { value: w[0], textContent: w[1] }); });
  function recut() {
    var d = { x: [-1, 0, 0], y: [0, 1, 0], z: [0, 0, 1] }[way.value];
    deep.disabled = !way.value;
    if (way.value === "me") d = plane && plane.me ? plane.n : axes().z;
    if (!d) plane = null;
    else {
      var reach = (Math.abs(d[0]) * solid.size[0] + Math.abs(d[1]) * solid.size[1] + Math.abs(d[2]) * solid.size[2]) / 2;
      plane = { n: d, d: -deep.value * reach, me: way.value === "me" };
    }
    draw();
  }
  way.onchange = function () { plane = null; recut(); };
  deep.oninput = recut;
  labelled("light", "input", { type: "range", min: -1.5, max: 1.5, step: 0.05, value: lampRound, oninput: function () { lampRound = +this.value; draw(); } });

  eye = room();
  if (window.ResizeObserver) new ResizeObserver(draw).observe(canvas);
  show(layers.length ? "0" : "");
  return {
    pins: pins,
    fly: function (what, number) {
      var s = spots.filter(function (s) { return s.n === number && s.what === what; })[0];
      if (s) flyTo(s);
      return !!s;
    },
    look: function (e) { setScale(false); eye = { round: e.round, over: e.over, half: e.half, target: sub(e.target, middle) }; draw(); },
    eye: function () { return { half: eye.half, target: add(eye.target, middle), round: eye.round, over: eye.over }; }
  };
}
