(() => {
"use strict";
// Values under the pointer, zoom and the craft at the pointer's time. Everything is read from the picture itself: an
// area has the values at its ends, a plotted line its name, the track the times of its points.
const all = (root, what) => [...root.querySelectorAll(what)];
const add = (parent, tag, attributes, text) => {
  const node = document.createElementNS(parent.namespaceURI, tag);
  for (const name in attributes) node.setAttribute(name, attributes[name]);
  if (text !== undefined) node.textContent = text;
  return parent.appendChild(node);
};
const numbers = text => (text.match(/-?(\d+\.?\d*|\.\d+)(e-?\d+)?/g) || []).map(Number);
const print = (value, decimals) => value.toFixed(Math.max(0, decimals)).replace("-", "\u2212").replace(/^\u2212(?=[0.]*$)/, "");
const between = (low, value, high) => Math.min(Math.max(value, low), high);

// Runs of points in px of path data with the commands M, l, h, v and z. A dot is a run of one point.
const runs = data => {
  const found = [];
  let at = [0, 0], run = [];
  const step = (dx, dy) => run.push(at = [at[0] + dx, at[1] + dy]);
  for (const [, command, rest] of data.matchAll(/([Mlhv])([^Mlhvz]*)/g)) {
    const n = numbers(rest);
    if (command == "M") found.push(run = [at = n]);
    if (command == "l") for (let i = 0; n.length > i; i += 2) step(n[i], n[i + 1]);
    if (command == "h") n.filter(dx => dx).forEach(dx => step(dx, 0));
    if (command == "v") n.forEach(dy => step(0, dy));
  }
  return found;
};

// Height in px of a line at x, or undefined. Among dots the nearest one within 6 px.
const heightAt = (line, x) => {
  for (const run of line.runs) {
    if (run[0][0] > x || x > run[run.length - 1][0] || run.length == 1) continue;
    let low = 0, high = run.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (run[middle][0] > x) high = middle; else low = middle;
    }
    const [[x0, y0], [x1, y1]] = [run[low], run[high]];
    return x1 > x0 ? y0 + (y1 - y0) * (x - x0) / (x1 - x0) : y0;
  }
  const dots = line.runs.filter(run => run.length == 1).map(run => run[0]);
  const nearest = dots.sort((a, b) => Math.abs(a[0] - x) - Math.abs(b[0] - x))[0];
  return nearest && 6 > Math.abs(nearest[0] - x) ? nearest[1] : undefined;
};

class Area {
  constructor(element) {
    const { kind, name, x, y, key, foot } = element.dataset;
    const [left, top, width, height] = ["x", "y", "width", "height"].map(side => +element.getAttribute(side));
    Object.assign(this, { element, kind, name, key, left, top, width, height, hasFoot: foot !== undefined });
    [this.x, this.y] = [numbers(x), numbers(y)];
    this.isFlat = this.y[0] == this.y[1];
    this.svg = element.ownerSVGElement;
    this.group = element.closest(".plots") || this.svg;
    this.reset();
  }
  // The lines are read when they are needed first.
  get lines() {
    return this.read ||= all(this.element, "path[data-name]").map(path => ({
      name: path.dataset.name, style: path.getAttribute("class"), runs: runs(path.getAttribute("d")), times: path.dataset.t,
    }));
  }
  reset() { this.view = [this.left, this.top, this.width, this.height]; }
  get isZoomed() { return this.view[2] != this.width || this.view[3] != this.height; }
  // Between values, px of the picture as drawn, and px on the zoomed picture.
  xToPx(value) { return this.left + (value - this.x[0]) / (this.x[1] - this.x[0]) * this.width; }
  yToPx(value) { return this.top + (this.y[1] - value) / (this.y[1] - this.y[0]) * this.height; }
  pxToX(px) { return this.x[0] + (px - this.left) / this.width * (this.x[1] - this.x[0]); }
  pxToY(px) { return this.y[1] - (px - this.top) / this.height * (this.y[1] - this.y[0]); }
  show([x, y]) {
    const [left, top, width, height] = this.view;
    return [this.left + (x - left) / width * this.width, this.top + (y - top) / height * this.height];
  }
  seen([x, y]) {
    const [left, top, width, height] = this.view;
    return [left + (x - this.left) / this.width * width, top + (y - this.top) / this.height * height];
  }
  contains([x, y]) {
    return x >= this.left && this.left + this.width >= x && y >= this.top - 2 && this.top + this.height + 2 >= y;
  }
  get window() { return [this.pxToX(this.view[0]), this.pxToX(this.view[0] + this.view[2])]; }
  // A third of the resolution of the drawing.
  get decimals() { return Math.ceil(-Math.log10(Math.abs(this.y[1] - this.y[0]) / this.height * 0.3)); }
  wrap(value) { return this.key == "heading" ? (value % 360 + 360) % 360 : value; }
  valueAt(name, x) {
    const line = this.lines.find(line => line.name == name);
    const px = line && heightAt(line, this.xToPx(x));
    return px === undefined ? undefined : this.pxToY(px);
  }
  // Shows the values low to high; the vertical axis fits the lines.
  zoom(low, high) {
    this.reset();
    const [from, to] = [low, high].map(value => between(this.left, this.xToPx(value), this.left + this.width));
    if (1 > to - from || to - from >= this.width - 0.01) return this.apply();
    let [top, bottom] = [Infinity, -Infinity];
    if (!this.isFlat) for (const line of this.lines) {
      const inside = line.runs.flat().filter(([x]) => x >= from && to >= x).map(([, y]) => y);
      for (const y of [...inside, heightAt(line, from), heightAt(line, to)]) if (y !== undefined) {
        [top, bottom] = [Math.min(top, y), Math.max(bottom, y)];
      }
    }
    const least = this.height / 12, lack = Math.max(0, least - (bottom - top)) / 2;
    [top, bottom] = bottom >= top ? [top - lack - 0.04 * (bottom - top), bottom + lack + 0.04 * (bottom - top)] : [this.top, this.top + this.height];
    this.view = [from, top, to - from, bottom - top];
    this.apply();
  }
  // Shows a box about a point, scaled by a factor.
  zoomAbout([x, y], factor) {
    const [left, top, width, height] = this.view;
    const scale = between(1 / 64, this.view[2] / this.width * factor, 1);
    const place = (low, size, start, extent, at) => between(start, at - (at - low) / size * extent * scale, start + extent * (1 - scale));
    this.view = [place(left, width, this.left, this.width, x), place(top, height, this.top, this.height, y), this.width * scale, this.height * scale];
    this.apply();
  }
  apply() {
    this.element.setAttribute("viewBox", this.view.join(" "));
    this.axes?.remove();
    this.svg.classList.toggle("zoomed", areasIn(this.svg).some(area => area.isZoomed));
    for (const rect of all(this.svg, ".shades rect")) this.shade(rect);
    areasIn(this.svg).forEach(area => area.drawAxes());
  }
  // Shades are outside the area, so that their hatches keep their shape.
  shade(rect) {
    const y = +rect.getAttribute("y");
    if (this.top > y || y >= this.top + this.height) return;
    rect.home ||= [+rect.getAttribute("x"), +rect.getAttribute("width")];
    const ends = [rect.home[0], rect.home[0] + rect.home[1]].map(x => between(this.left, this.show([x, 0])[0], this.left + this.width));
    rect.setAttribute("x", ends[0]);
    rect.setAttribute("width", ends[1] - ends[0]);
  }
  drawAxes() {
    this.axes?.remove();
    if (!this.svg.classList.contains("zoomed")) return;
    this.axes = add(this.svg, "g", { class: "live" });
    this.element.before(this.axes);
    const [left, right, top, bottom] = [this.left, this.left + this.width, this.top, this.top + this.height];
    for (const [value, text] of ticks(...this.window, 6, this.kind == "frequency")) {
      const [x] = this.show([this.xToPx(value), 0]);
      add(this.axes, "path", { class: "grid", d: `M${x} ${top}V${bottom}` });
      if (this.hasFoot) add(this.axes, "text", { class: "tick mid", x, y: bottom + 14 }, text);
    }
    if (this.isFlat) return;
    const [low, high] = [this.view[1] + this.view[3], this.view[1]].map(px => this.pxToY(px));
    for (const [value, text] of ticks(low, high, Math.round(this.height / 26), false, value => this.wrap(value))) {
      const [, y] = this.show([0, this.yToPx(value)]);
      add(this.axes, "path", { class: "grid", d: `M${left} ${y}H${right}` });
      add(this.axes, "text", { class: "tick end", x: left - 5, y: y + 4 }, text);
    }
  }
}

// Round values with their labels over a range, of decimal logarithms if isLog.
const ticks = (low, high, count, isLog, wrap = value => value) => {
  if (isLog) return ticks(10 ** low, 10 ** high, 2 * count).filter(([value]) => value > 0).map(([value, text]) => [Math.log10(value), text]);
  const decade = 10 ** Math.floor(Math.log10((high - low) / count));
  const step = [1, 2, 5, 10].find(m => m * decade * count >= (high - low) * 0.999) * decade;
  const decimals = -Math.floor(Math.log10(step) + 1e-9), found = [];
  for (let i = Math.ceil(low / step - 1e-9); high >= (i - 1e-9) * step; i++) found.push([i * step, print(wrap(i * step), decimals)]);
  return found;
};

const areas = all(document, "svg.area").map(element => new Area(element));
const areasIn = svg => areas.filter(area => area.svg == svg);
const linked = area => areas.filter(other => other.group == area.group && other.kind == area.kind);

// The box with the values and the craft.
const box = add(document.body, "aside", { class: "pointer", hidden: "" });
const sketch = add(box, "div"), says = add(box, "p"), heard = add(box, "p", { class: "unseen", "aria-live": "polite" });
const buttons = add(box, "p");
for (const [text, label, key] of [["\u2212", "zoom out", "-"], ["+", "zoom in", "+"], ["whole", "show the whole range", "0"], ["close", "close", "Escape"]]) {
  add(buttons, "button", { type: "button", "aria-label": label }, text).onclick = () => current && press(current.area.svg, key);
}

let current = null;
const clear = () => {
  current = null;
  box.hidden = true;
  all(document, "g.cursor").forEach(node => node.remove());
};

// Moves the pointer to a point of an area, in px of the picture as drawn.
const point = (area, at) => {
  clear();
  current = { area, at };
  const isPlane = area.kind == "plane", shown = area.show(at);
  box.hidden = false;
  if (isPlane) {
    const nearest = area.key == "track" && onTrack(area, at);
    if (nearest) return pointAtTime(area, nearest);
    const cursor = add(area.svg, "g", { class: "cursor" });
    add(cursor, "path", { d: `M${shown[0]} ${area.top}v${area.height}M${area.left} ${shown[1]}h${area.width}` });
    const [across, up] = area.name.split("|");
    const xDecimals = Math.ceil(-Math.log10(Math.abs(area.x[1] - area.x[0]) / area.width * 0.3));
    heard.textContent = says.textContent = `${across}: ${print(area.pxToX(at[0]), xDecimals)}` + (up ? `; ${up}: ${print(area.pxToY(at[1]), area.decimals)}` : "");
    sketch.replaceChildren();
    return;
  }
  mark(area, area.pxToX(at[0]));
};

const pointAtTime = (area, time) => {
  const other = areas.find(other => other.group == area.group && other.kind == "time");
  if (other) mark(other, time);
};

// The line of the pointer through all linked areas, with the values of their lines.
const mark = (area, x) => {
  const said = [];
  for (const other of linked(area)) {
    const px = other.xToPx(x), at = other.show([px, 0])[0];
    if (other.left - 0.1 > at || at > other.left + other.width + 0.1) continue;
    const cursor = add(other.svg, "g", { class: "cursor" });
    add(cursor, "path", { d: `M${at} ${other.top}v${other.height}` });
    const isLeft = other.left + other.width / 2 > at;
    const texts = [];
    for (const line of other.isFlat ? [] : other.lines) {
      const height = heightAt(line, px);
      if (height === undefined) continue;
      const text = `${line.name} ${print(other.wrap(other.pxToY(height)), other.decimals)}`;
      texts.push(add(cursor, "text", { class: `${line.style}${isLeft ? "" : " end"}`, x: at + (isLeft ? 5 : -5), y: other.top + 11 + 12 * texts.length }, text));
      if (other.svg == area.svg) said.push(`${other.name}: ${text}`);
    }
    const width = Math.max(...texts.map(text => text.getComputedTextLength())) + 8;
    if (texts.length) texts[0].before(add(cursor, "rect", { class: "plate", x: isLeft ? at + 1 : at - 1 - width, y: other.top + 1, width, height: 12 * texts.length + 3 }));
  }
  const value = area.kind == "frequency" ? `${print(10 ** x, 2 - Math.floor(x))} rad/s` : `${print(x, 2)} s`;
  says.textContent = value;
  heard.textContent = [value, ...said].join("; ");
  sketch.replaceChildren();
  if (area.kind == "time") drawCraft(area, x);
};

// Time of the nearest point of the true track within 25 px, or undefined.
const track = area => {
  const line = area.lines.find(line => line.times);
  if (!line || line.timed) return line?.timed || [];
  let time = 0;
  const points = line.runs.flat(), deltas = numbers(line.times);
  return line.timed = points.map(([x, y], i) => [x, y, (time += deltas[i]) / 100]);
};
const onTrack = (area, [x, y]) => {
  const scale = area.width / area.view[2];
  let best = 25 / scale, time;
  for (const [px, py, t] of track(area)) {
    const distance = Math.hypot(px - x, py - y);
    if (best > distance) [best, time] = [distance, t];
  }
  return time;
};

// The craft from behind and above, seen to the north, with the thrust of each rotor; and its place on the track.
const drawCraft = (area, time) => {
  const group = areas.filter(other => other.group == area.group);
  const of = (key, name) => group.find(other => other.key == key)?.valueAt(name, time);
  const [roll, pitch, heading] = ["roll", "pitch", "heading"].map(key => of(key, "truth") * Math.PI / 180);
  if (![roll, pitch, heading].every(Number.isFinite)) return;
  const [sr, cr, sp, cp, sh, ch] = [roll, pitch, heading].flatMap(angle => [Math.sin(angle), Math.cos(angle)]);
  // Body axes forward, right, up to the picture; the view is from 25 deg above the horizon.
  const place = (forward, right, up) => {
    const down = -up, y1 = right * cr - down * sr, z1 = right * sr + down * cr;
    const x2 = forward * cp + z1 * sp, z2 = -forward * sp + z1 * cp;
    const north = x2 * ch - y1 * sh, east = x2 * sh + y1 * ch;
    return [75 + 46 * east, 66 + 46 * (z2 * 0.906 - north * 0.423)];
  };
  const path = points => "M" + points.map(at => at.map(px => px.toFixed(1)).join(" ")).join("L");
  sketch.innerHTML = "<svg viewBox='0 0 150 112' role='img' aria-label='attitude of the craft, seen to the north'></svg>";
  const svg = sketch.firstChild, corners = [[1, -1], [1, 1], [-1, -1], [-1, 1]].map(([f, r]) => [f * 0.7, r * 0.7]);
  add(svg, "path", { class: "frame", d: path([corners[0], corners[3]].map(c => place(...c, 0))) + path([corners[1], corners[2]].map(c => place(...c, 0))) });
  add(svg, "path", { class: "marker", d: path([[0.75, 0], [0.4, -0.16], [0.4, 0.16], [0.75, 0]].map(c => place(...c, 0.02))) });
  corners.forEach(([forward, right], corner) => {
    const circle = [...Array(25).keys()].map(i => place(forward + 0.4 * Math.cos(i * Math.PI / 12), right + 0.4 * Math.sin(i * Math.PI / 12), 0.08));
    add(svg, "path", { class: "frame", d: path(circle) });
    const plot = group.find(other => other.key == "thrust" + corner), thrust = plot?.valueAt("rotor", time);
    if (thrust > 0) add(svg, "path", { class: "thrust", d: path([place(forward, right, 0.08), place(forward, right, 0.08 + 1.2 * thrust / plot.y[1])]) });
  });
  const degrees = angle => print(angle * 180 / Math.PI, 1);
  says.textContent += `\nroll ${degrees(roll)}, pitch ${degrees(pitch)} deg\nheading ${print(((heading * 180 / Math.PI) % 360 + 360) % 360, 0)} deg`;
  const ground = group.find(other => other.key == "track"), timed = ground ? track(ground) : [];
  const next = timed.findIndex(([, , t]) => t >= time);
  if (0 > next) return;
  const [x1, y1, t1] = timed[next], [x0, y0, t0] = timed[Math.max(0, next - 1)], share = t1 > t0 ? (time - t0) / (t1 - t0) : 1;
  const at = [x0 + (x1 - x0) * share, y0 + (y1 - y0) * share];
  if (!ground.contains(ground.show(at))) return;
  const [x, y] = ground.show(at), cursor = add(ground.svg, "g", { class: "cursor" });
  const turned = (forward, right) => [x + forward * sh + right * ch, y - forward * ch + right * sh];
  add(cursor, "path", { class: "craft", d: path([turned(11, 0), turned(-6, -6), turned(-3, 0), turned(-6, 6)]) + "z" });
};

// Zoom of the areas linked with the current one.
const zoomTo = (area, low, high) => linked(area).forEach(other => other.zoom(low, high));
const press = (svg, key) => {
  const own = areasIn(svg), { area, at } = current && own.includes(current.area) ? current : { area: own[0], at: null };
  const isPlane = area.kind == "plane", [left, top, width, height] = area.view;
  const middle = at || [left + width / 2, top + height / 2];
  const [low, high] = area.window, x = area.pxToX(middle[0]);
  const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  if (key == "Escape") { clear(); return true; }
  if (key == "0") isPlane ? (area.reset(), area.apply()) : zoomTo(area, -Infinity, Infinity);
  else if (key == "+" || key == "=" || key == "-") {
    const factor = key == "-" ? 2 : 0.5;
    if (isPlane) area.zoomAbout(middle, factor);
    else {
      const span = between((area.x[1] - area.x[0]) / 64, (high - low) * factor, area.x[1] - area.x[0]);
      const start = between(area.x[0], x - (x - low) / (high - low) * span, area.x[1] - span);
      zoomTo(area, start, start + span);
    }
  } else if (key in moves && (isPlane || moves[key][0])) {
    middle[0] = between(left, middle[0] + moves[key][0] * width / 100, left + width);
    middle[1] = between(top, middle[1] + moves[key][1] * height / 100, top + height);
  } else return false;
  const [l, t, w, h] = area.view;
  point(area, [between(l, middle[0], l + w), between(t, middle[1], t + h)]);
  return true;
};

for (const svg of new Set(areas.map(area => area.svg))) {
  const own = areasIn(svg);
  const locate = event => {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse()), place = [at.x, at.y];
    const area = own.find(area => area.contains(place));
    return area && { area, at: area.seen(place), place };
  };
  let start = null, band = null;
  svg.tabIndex = 0;
  svg.addEventListener("pointermove", event => {
    const found = locate(event);
    if (!found) return;
    if (start && start.area == found.area) {
      band ||= add(svg, "rect", { class: "band" });
      const [a, b] = [start.place, found.place], isPlane = found.area.kind == "plane";
      const sides = { x: Math.min(a[0], b[0]), width: Math.abs(a[0] - b[0]), y: isPlane ? Math.min(a[1], b[1]) : found.area.top, height: isPlane ? Math.abs(a[1] - b[1]) : found.area.height };
      for (const side in sides) band.setAttribute(side, sides[side]);
    }
    point(found.area, found.at);
  });
  svg.addEventListener("pointerdown", event => {
    const found = locate(event);
    if (!found) return;
    point(found.area, found.at);
    if (event.pointerType == "mouse") { start = found; event.preventDefault(); svg.focus({ preventScroll: true }); }
  });
  const drop = event => {
    const found = start && locate(event);
    if (found && found.area == start.area) {
      const { area, at } = start, [dx, dy] = [0, 1].map(i => Math.abs(found.place[i] - start.place[i]));
      if (area.kind == "plane" && Math.max(dx, dy) > 6) {
        const scale = Math.max(dx / area.width, dy / area.height), centre = [0, 1].map(i => (at[i] + found.at[i]) / 2);
        const [left, top, width, height] = area.view;
        area.view = [between(area.left, centre[0] - width * scale / 2, area.left + area.width - width * scale), between(area.top, centre[1] - height * scale / 2, area.top + area.height - height * scale), width * scale, height * scale];
        area.apply();
        clear();
      } else if (area.kind != "plane" && dx > 6) {
        zoomTo(area, ...[at[0], found.at[0]].sort((a, b) => a - b).map(px => area.pxToX(px)));
        point(area, found.at);
      }
    }
    band?.remove();
    start = band = null;
  };
  svg.addEventListener("pointerup", drop);
  svg.addEventListener("pointercancel", drop);
  svg.addEventListener("dblclick", () => press(svg, "0"));
  svg.addEventListener("keydown", event => { if (!event.ctrlKey && !event.metaKey && !event.altKey && press(svg, event.key)) event.preventDefault(); });
}

for (const plots of new Set(areas.map(area => area.group))) {
  const hint = document.createElement("p");
  hint.className = "soft hint";
  hint.textContent = "Point at a plot for its values; drag to zoom, double-click for the whole range. Keys on a plot: arrows, +, \u2212, 0, Esc.";
  plots.before(hint);
}
let leaving;
document.addEventListener("pointermove", event => {
  const inside = event.target.closest?.(".plots, .pointer");
  clearTimeout(leaving);
  if (current && !inside) leaving = setTimeout(clear, 1500);
});
// Paper shows the whole range and every fold.
addEventListener("beforeprint", () => {
  clear();
  areas.filter(area => area.isZoomed).forEach(area => { area.reset(); area.apply(); });
  all(document, "details:not([open])").forEach(fold => { fold.open = true; fold.dataset.folded = ""; });
});
addEventListener("afterprint", () => all(document, "details[data-folded]").forEach(fold => { fold.open = false; delete fold.dataset.folded; }));
})();
