// Time of the nearest point of the true track within 25 px, or undefined.
const track = area => {
  const line = area.lines.find(line => line.times);
  if (!line || line.timed) return line?.timed || [];
  let time = 0;
  const points = line.runs.flat(),
    deltas = numbers(line.times);
  return (line.timed = points.map(([x, y], i) => [x, y, (time += deltas[i]) / 100]));
};
const onTrack = (area, [x, y]) => {
  const scale = area.width / area.view[2];
  let best = 25 / scale,
    time;
  for (const [px, py, t] of track(area)) {
    const distance = Math.hypot(px - x, py - y);
    if (best > distance) [best, time] = [distance, t];
  }
  return time;
};

// The craft from behind and above, seen to the north, with the thrust of each rotor; and its place on the
// track.
const drawCraft = (area, time) => {
  const group = areas.filter(other => other.group == area.group);
  const of = (key, name) => group.find(other => other.key == key)?.valueAt(name, time);
  const [roll, pitch, heading] = ["roll", "pitch", "heading"].map(key => (of(key, "truth") * Math.PI) / 180);
  if (![roll, pitch, heading].every(Number.isFinite)) return;
  const [sr, cr, sp, cp, sh, ch] = [roll, pitch, heading].flatMap(angle => [
    Math.sin(angle),
    Math.cos(angle),
  ]);
  // Body axes forward, right, up to the picture; the view is from 25 deg above the horizon.
  const place = (forward, right, up) => {
    const down = -up,
      y1 = right * cr - down * sr,
      z1 = right * sr + down * cr;
    const x2 = forward * cp + z1 * sp,
      z2 = -forward * sp + z1 * cp;
    const north = x2 * ch - y1 * sh,
      east = x2 * sh + y1 * ch;
    return [75 + 46 * east, 66 + 46 * (z2 * 0.906 - north * 0.423)];
  };
  const path = points => "M" + points.map(at => at.map(px => px.toFixed(1)).join(" ")).join("L");
  sketch.innerHTML =
    "<svg viewBox='0 0 150 112' role='img' aria-label='attitude of the craft, seen to the north'></svg>";
  const svg = sketch.firstChild,
    corners = [
      [1, -1],
      [1, 1],
      [-1, -1],
      [-1, 1],
    ].map(([f, r]) => [f * 0.7, r * 0.7]);
  add(svg, "path", {
    class: "frame",
    d:
      path([corners[0], corners[3]].map(c => place(...c, 0))) +
      path([corners[1], corners[2]].map(c => place(...c, 0))),
  });
  add(svg, "path", {
    class: "marker",
    d: path(
      [
        [0.75, 0],
        [0.4, -0.16],
        [0.4, 0.16],
        [0.75, 0],
      ].map(c => place(...c, 0.02)),
    ),
  });
  corners.forEach(([forward, right], corner) => {
    const circle = [...Array(25).keys()].map(i =>
      place(forward + 0.4 * Math.cos((i * Math.PI) / 12), right + 0.4 * Math.sin((i * Math.PI) / 12), 0.08),
    );
    add(svg, "path", { class: "frame", d: path(circle) });
    const plot = group.find(other => other.key == "thrust" + corner),
      thrust = plot?.valueAt("rotor", time);
    if (thrust > 0)
      add(svg, "path", {
        class: "thrust",
        d: path([place(forward, right, 0.08), place(forward, right, 0.08 + (1.2 * thrust) / plot.y[1])]),
      });
  });
  const degrees = angle => print((angle * 180) / Math.PI, 1);
  const compass = ((((heading * 180) / Math.PI) % 360) + 360) % 360;
  says.textContent += `\nroll ${degrees(roll)}, pitch ${degrees(pitch)} deg`;
  says.textContent += `\nheading ${print(compass, 0)} deg`;
  const ground = group.find(other => other.key == "track"),
    timed = ground ? track(ground) : [];
  const next = timed.findIndex(([, , t]) => t >= time);
  if (0 > next) return;
  const [x1, y1, t1] = timed[next],
    [x0, y0, t0] = timed[Math.max(0, next - 1)],
    share = t1 > t0 ? (time - t0) / (t1 - t0) : 1;
  const at = [x0 + (x1 - x0) * share, y0 + (y1 - y0) * share];
  if (!ground.contains(ground.show(at))) return;
  const [x, y] = ground.show(at),
    cursor = add(ground.svg, "g", { class: "cursor" });
  const turned = (forward, right) => [x + forward * sh + right * ch, y - forward * ch + right * sh];
  add(cursor, "path", {
    class: "craft",
    d: path([turned(11, 0), turned(-6, -6), turned(-3, 0), turned(-6, 6)]) + "z",
  });
};
