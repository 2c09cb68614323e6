// Reading of the pictures. All values come from them: an area has the values at its ends, a plotted line its
// name, the track the times of its points.
const all = (root, what) => [...root.querySelectorAll(what)];
const add = (parent, tag, attributes, text) => {
  const node = document.createElementNS(parent.namespaceURI, tag);
  for (const name in attributes) node.setAttribute(name, attributes[name]);
  if (text !== undefined) node.textContent = text;
  return parent.appendChild(node);
};
const numbers = text => (text.match(/-?(\d+\.?\d*|\.\d+)(e-?\d+)?/g) || []).map(Number);
const print = (value, decimals) =>
  value
    .toFixed(Math.max(0, decimals))
    .replace("-", "\u2212")
    .replace(/^\u2212(?=[0.]*$)/, "");
const between = (low, value, high) => Math.min(Math.max(value, low), high);

// Runs of points in px of path data with the commands M, l, h, v and z. A dot is a run of one point.
const runs = data => {
  const found = [];
  let at = [0, 0],
    run = [];
  const step = (dx, dy) => run.push((at = [at[0] + dx, at[1] + dy]));
  for (const [, command, rest] of data.matchAll(/([Mlhv])([^Mlhvz]*)/g)) {
    const n = numbers(rest);
    if (command == "M") found.push((run = [(at = n)]));
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
    let low = 0,
      high = run.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (run[middle][0] > x) high = middle;
      else low = middle;
    }
    const [[x0, y0], [x1, y1]] = [run[low], run[high]];
    return x1 > x0 ? y0 + ((y1 - y0) * (x - x0)) / (x1 - x0) : y0;
  }
  const dots = line.runs.filter(run => run.length == 1).map(run => run[0]);
  const nearest = dots.sort((a, b) => Math.abs(a[0] - x) - Math.abs(b[0] - x))[0];
  return nearest && 6 > Math.abs(nearest[0] - x) ? nearest[1] : undefined;
};
