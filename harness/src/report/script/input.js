// Zoom of the areas linked with the current one.
const zoomTo = (area, low, high) => linked(area).forEach(other => other.zoom(low, high));
const press = (svg, key) => {
  const own = areasIn(svg),
    { area, at } = current && own.includes(current.area) ? current : { area: own[0], at: null };
  const isPlane = area.kind == "plane",
    [left, top, width, height] = area.view;
  const middle = at || [left + width / 2, top + height / 2];
  const [low, high] = area.window,
    x = area.pxToX(middle[0]);
  const moves = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  if (key == "Escape") {
    clear();
    return true;
  }
  if (key == "0") isPlane ? (area.reset(), area.apply()) : zoomTo(area, -Infinity, Infinity);
  else if (key == "+" || key == "=" || key == "-") {
    const factor = key == "-" ? 2 : 0.5;
    if (isPlane) area.zoomAbout(middle, factor);
    else {
      const span = between((area.x[1] - area.x[0]) / 64, (high - low) * factor, area.x[1] - area.x[0]);
      const start = between(area.x[0], x - ((x - low) / (high - low)) * span, area.x[1] - span);
      zoomTo(area, start, start + span);
    }
  } else if (key in moves && (isPlane || moves[key][0])) {
    middle[0] = between(left, middle[0] + (moves[key][0] * width) / 100, left + width);
    middle[1] = between(top, middle[1] + (moves[key][1] * height) / 100, top + height);
  } else return false;
  const [l, t, w, h] = area.view;
  point(area, [between(l, middle[0], l + w), between(t, middle[1], t + h)]);
  return true;
};

for (const svg of new Set(areas.map(area => area.svg))) {
  const own = areasIn(svg);
  const locate = event => {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse()),
      place = [at.x, at.y];
    const area = own.find(area => area.contains(place));
    return area && { area, at: area.seen(place), place };
  };
  let start = null,
    band = null;
  svg.tabIndex = 0;
  svg.addEventListener("pointermove", event => {
    const found = locate(event);
    if (!found) return;
    if (start && start.area == found.area) {
      band ||= add(svg, "rect", { class: "band" });
      const [a, b] = [start.place, found.place],
        isPlane = found.area.kind == "plane";
      const sides = {
        x: Math.min(a[0], b[0]),
        width: Math.abs(a[0] - b[0]),
        y: isPlane ? Math.min(a[1], b[1]) : found.area.top,
        height: isPlane ? Math.abs(a[1] - b[1]) : found.area.height,
      };
      for (const side in sides) band.setAttribute(side, sides[side]);
    }
    point(found.area, found.at);
  });
  svg.addEventListener("pointerdown", event => {
    const found = locate(event);
    if (!found) return;
    point(found.area, found.at);
    if (event.pointerType == "mouse") {
      start = found;
      event.preventDefault();
      svg.focus({ preventScroll: true });
    }
  });
  const drop = event => {
    const found = start && locate(event);
    if (found && found.area == start.area) {
      const { area, at } = start,
        [dx, dy] = [0, 1].map(i => Math.abs(found.place[i] - start.place[i]));
      if (area.kind == "plane" && Math.max(dx, dy) > 6) {
        const scale = Math.max(dx / area.width, dy / area.height),
          centre = [0, 1].map(i => (at[i] + found.at[i]) / 2);
        const [left, top, width, height] = area.view;
        area.view = [
          between(area.left, centre[0] - (width * scale) / 2, area.left + area.width - width * scale),
          between(area.top, centre[1] - (height * scale) / 2, area.top + area.height - height * scale),
          width * scale,
          height * scale,
        ];
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
  svg.addEventListener("keydown", event => {
    if (!event.ctrlKey && !event.metaKey && !event.altKey && press(svg, event.key)) event.preventDefault();
  });
}

for (const plots of new Set(areas.map(area => area.group))) {
  const hint = document.createElement("p");
  hint.className = "soft hint";
  hint.textContent =
    "Point at a plot for its values; drag to zoom, double-click for the whole range. " +
    "Keys on a plot: arrows, +, \u2212, 0, Esc.";
  plots.before(hint);
}
let leaving;
document.addEventListener("pointermove", event => {
  const inside = event.target.closest?.(".plots, .pointer");
  clearTimeout(leaving);
  if (current && !inside) leaving = setTimeout(clear, 1500);
});
// Paper shows the whole range and every section.
addEventListener("beforeprint", () => {
  clear();
  areas
    .filter(area => area.isZoomed)
    .forEach(area => {
      area.reset();
      area.apply();
    });
  all(document, "details:not([open])").forEach(section => {
    section.open = true;
    section.dataset.closed = "";
  });
});
addEventListener("afterprint", () =>
  all(document, "details[data-closed]").forEach(section => {
    section.open = false;
    delete section.dataset.closed;
  }),
);
