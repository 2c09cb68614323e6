// The pointer: its line and values in all linked areas, and the box.
const areas = all(document, "svg.area").map(element => new Area(element));
const areasIn = svg => areas.filter(area => area.svg == svg);
const linked = area => areas.filter(other => other.group == area.group && other.kind == area.kind);

// The box with the values and the craft.
const box = add(document.body, "aside", { class: "pointer", hidden: "" });
const sketch = add(box, "div"),
  says = add(box, "p"),
  heard = add(box, "p", { class: "unseen", "aria-live": "polite" });
const buttons = add(box, "p");
for (const [text, label, key] of [
  ["\u2212", "zoom out", "-"],
  ["+", "zoom in", "+"],
  ["whole", "show the whole range", "0"],
  ["close", "close", "Escape"],
]) {
  add(buttons, "button", { type: "button", "aria-label": label }, text).onclick = () =>
    current && press(current.area.svg, key);
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
  const isPlane = area.kind == "plane",
    shown = area.show(at);
  box.hidden = false;
  if (isPlane) {
    const nearest = area.key == "track" && onTrack(area, at);
    if (nearest) return pointAtTime(area, nearest);
    const cursor = add(area.svg, "g", { class: "cursor" });
    add(cursor, "path", {
      d: `M${shown[0]} ${area.top}v${area.height}M${area.left} ${shown[1]}h${area.width}`,
    });
    const [across, up] = area.name.split("|");
    const xDecimals = Math.ceil(-Math.log10((Math.abs(area.x[1] - area.x[0]) / area.width) * 0.3));
    heard.textContent = says.textContent =
      `${across}: ${print(area.pxToX(at[0]), xDecimals)}` +
      (up ? `; ${up}: ${print(area.pxToY(at[1]), area.decimals)}` : "");
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
    const px = other.xToPx(x),
      at = other.show([px, 0])[0];
    if (other.left - 0.1 > at || at > other.left + other.width + 0.1) continue;
    const cursor = add(other.svg, "g", { class: "cursor" });
    add(cursor, "path", { d: `M${at} ${other.top}v${other.height}` });
    const isLeft = other.left + other.width / 2 > at;
    const texts = [];
    for (const line of other.isFlat ? [] : other.lines) {
      const height = heightAt(line, px);
      if (height === undefined) continue;
      const text = `${line.name} ${print(other.wrap(other.pxToY(height)), other.decimals)}`;
      texts.push(
        add(
          cursor,
          "text",
          {
            class: `${line.style}${isLeft ? "" : " end"}`,
            x: at + (isLeft ? 5 : -5),
            y: other.top + 11 + 12 * texts.length,
          },
          text,
        ),
      );
      if (other.svg == area.svg) said.push(`${other.name}: ${text}`);
    }
    const width = Math.max(...texts.map(text => text.getComputedTextLength())) + 8;
    if (texts.length)
      texts[0].before(
        add(cursor, "rect", {
          class: "plate",
          x: isLeft ? at + 1 : at - 1 - width,
          y: other.top + 1,
          width,
          height: 12 * texts.length + 3,
        }),
      );
  }
  const value = area.kind == "frequency" ? `${print(10 ** x, 2 - Math.floor(x))} rad/s` : `${print(x, 2)} s`;
  says.textContent = value;
  heard.textContent = [value, ...said].join("; ");
  sketch.replaceChildren();
  if (area.kind == "time") drawCraft(area, x);
};
