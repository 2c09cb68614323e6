// A plotting area: its values, its lines and its zoom.
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
    return (this.read ||= all(this.element, "path[data-name]").map(path => ({
      name: path.dataset.name,
      style: path.getAttribute("class"),
      runs: runs(path.getAttribute("d")),
      times: path.dataset.t,
    })));
  }
  reset() {
    this.view = [this.left, this.top, this.width, this.height];
  }
  get isZoomed() {
    return this.view[2] != this.width || this.view[3] != this.height;
  }
  // Between values, px of the picture as drawn, and px on the zoomed picture.
  xToPx(value) {
    return this.left + ((value - this.x[0]) / (this.x[1] - this.x[0])) * this.width;
  }
  yToPx(value) {
    return this.top + ((this.y[1] - value) / (this.y[1] - this.y[0])) * this.height;
  }
  pxToX(px) {
    return this.x[0] + ((px - this.left) / this.width) * (this.x[1] - this.x[0]);
  }
  pxToY(px) {
    return this.y[1] - ((px - this.top) / this.height) * (this.y[1] - this.y[0]);
  }
  show([x, y]) {
    const [left, top, width, height] = this.view;
    return [this.left + ((x - left) / width) * this.width, this.top + ((y - top) / height) * this.height];
  }
  seen([x, y]) {
    const [left, top, width, height] = this.view;
    return [left + ((x - this.left) / this.width) * width, top + ((y - this.top) / this.height) * height];
  }
  contains([x, y]) {
    return (
      x >= this.left && this.left + this.width >= x && y >= this.top - 2 && this.top + this.height + 2 >= y
    );
  }
  get window() {
    return [this.pxToX(this.view[0]), this.pxToX(this.view[0] + this.view[2])];
  }
  // A third of the resolution of the drawing.
  get decimals() {
    return Math.ceil(-Math.log10((Math.abs(this.y[1] - this.y[0]) / this.height) * 0.3));
  }
  wrap(value) {
    return this.key == "heading" ? ((value % 360) + 360) % 360 : value;
  }
  valueAt(name, x) {
    const line = this.lines.find(line => line.name == name);
    const px = line && heightAt(line, this.xToPx(x));
    return px === undefined ? undefined : this.pxToY(px);
  }
  // Shows the values low to high; the vertical axis fits the lines.
  zoom(low, high) {
    this.reset();
    const [from, to] = [low, high].map(value =>
      between(this.left, this.xToPx(value), this.left + this.width),
    );
    if (1 > to - from || to - from >= this.width - 0.01) return this.apply();
    let [top, bottom] = [Infinity, -Infinity];
    if (!this.isFlat)
      for (const line of this.lines) {
        const inside = line.runs
          .flat()
          .filter(([x]) => x >= from && to >= x)
          .map(([, y]) => y);
        for (const y of [...inside, heightAt(line, from), heightAt(line, to)])
          if (y !== undefined) {
            [top, bottom] = [Math.min(top, y), Math.max(bottom, y)];
          }
      }
    const least = this.height / 12,
      lack = Math.max(0, least - (bottom - top)) / 2;
    [top, bottom] =
      bottom >= top
        ? [top - lack - 0.04 * (bottom - top), bottom + lack + 0.04 * (bottom - top)]
        : [this.top, this.top + this.height];
    this.view = [from, top, to - from, bottom - top];
    this.apply();
  }
  // Shows a box about a point, scaled by a factor.
  zoomAbout([x, y], factor) {
    const [left, top, width, height] = this.view;
    const scale = between(1 / 64, (this.view[2] / this.width) * factor, 1);
    const place = (low, size, start, extent, at) =>
      between(start, at - ((at - low) / size) * extent * scale, start + extent * (1 - scale));
    this.view = [
      place(left, width, this.left, this.width, x),
      place(top, height, this.top, this.height, y),
      this.width * scale,
      this.height * scale,
    ];
    this.apply();
  }
  apply() {
    this.element.setAttribute("viewBox", this.view.join(" "));
    this.axes?.remove();
    this.svg.classList.toggle(
      "zoomed",
      areasIn(this.svg).some(area => area.isZoomed),
    );
    for (const rect of all(this.svg, ".shades rect")) this.shade(rect);
    areasIn(this.svg).forEach(area => area.drawAxes());
  }
  // Shades are outside the area, so that their hatches keep their shape.
  shade(rect) {
    const y = +rect.getAttribute("y");
    if (this.top > y || y >= this.top + this.height) return;
    rect.home ||= [+rect.getAttribute("x"), +rect.getAttribute("width")];
    const ends = [rect.home[0], rect.home[0] + rect.home[1]].map(x =>
      between(this.left, this.show([x, 0])[0], this.left + this.width),
    );
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
    for (const [value, text] of ticks(low, high, Math.round(this.height / 26), false, value =>
      this.wrap(value),
    )) {
      const [, y] = this.show([0, this.yToPx(value)]);
      add(this.axes, "path", { class: "grid", d: `M${left} ${y}H${right}` });
      add(this.axes, "text", { class: "tick end", x: left - 5, y: y + 4 }, text);
    }
  }
}

// Round values with their labels over a range, of decimal logarithms if isLog.
const ticks = (low, high, count, isLog, wrap = value => value) => {
  if (isLog)
    return ticks(10 ** low, 10 ** high, 2 * count)
      .filter(([value]) => value > 0)
      .map(([value, text]) => [Math.log10(value), text]);
  const decade = 10 ** Math.floor(Math.log10((high - low) / count));
  const step = [1, 2, 5, 10].find(m => m * decade * count >= (high - low) * 0.999) * decade;
  const decimals = -Math.floor(Math.log10(step) + 1e-9),
    found = [];
  for (let i = Math.ceil(low / step - 1e-9); high >= (i - 1e-9) * step; i++)
    found.push([i * step, print(wrap(i * step), decimals)]);
  return found;
};
