// Lets a hand look closer at a chart. It takes the place of each drawing with the same figures (uPlot draws scale, axis and line; the marks
// of the trade are drawn here), and a stretch that is drawn out is shown at once, coarse as it is, while the sheet of that stretch is
// fetched by live.js. Without script, on paper and in forced colours the drawing itself stands.

const PLACES = ["top", "bottom", "axis", "height"]; // [em]
const LEAST_PX = 6; // a shorter stretch is a slip of the hand
const LEAST_S = 600;
const TEETH_PX = 14;
const DIP_PX = 4; // half of a mark of the mains

const forced = matchMedia("(forced-colors: active)");
const dark = matchMedia("(prefers-color-scheme: dark)");
let charts = [];
let view = null; // start and end of what is shown [POSIX s]

function take() {
  for (const one of charts) one.plot.destroy();
  charts = [];
  const figures = [...document.querySelectorAll("figure.charted")];
  for (const one of figures) one.classList.remove("taken");
  if (forced.matches || !figures.length) return;
  const inks = inksOf(document.documentElement);
  for (const figure of figures) {
    const data = JSON.parse(figure.querySelector(".figures").textContent);
    view = [data.start, data.end];
    charts.push({ figure, plot: draw(figure, data, inks) });
    figure.classList.add("taken");
  }
}

function inksOf(element) {
  const style = getComputedStyle(element);
  const names = ["paper", "ink", "ink2", "madder", "prussian", "rule", "feint"];
  return Object.fromEntries(names.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
}

function draw(figure, data, inks) {
  const drawing = figure.querySelector(".drawing");
  const style = getComputedStyle(drawing);
  const em = parseFloat(style.fontSize);
  const [around, inside] = [figure.getBoundingClientRect(), drawing.getBoundingClientRect()];
  const numeral = `${0.9375 * em}px ${style.fontFamily}`;
  const number = new Intl.NumberFormat(document.documentElement.lang, {
    minimumFractionDigits: data.decimals,
    maximumFractionDigits: data.decimals,
    useGrouping: false,
  });
  const columns = [0, 1, 2, 3, 4].map((n) => data.points.map((point) => point[n]));
  const place = { ...Object.fromEntries(PLACES.map((name, n) => [name, data.places[n] * em])), em, numeral };
  const { top, bottom, height } = place;
  const options = {
    width: around.width,
    height,
    padding: [top, 0, 0, 0],
    legend: { show: false },
    cursor: {
      sync: { key: "stretch" },
      points: { show: false },
      drag: { x: true, y: false, setScale: false },
      bind: { dblclick: () => () => wider() },
    },
    scales: { x: { time: false, range: () => view }, y: { range: () => [data.low, data.high] } },
    axes: [
      { size: height - bottom, splits: () => [], grid: { show: false }, ticks: { show: false } },
      {
        size: inside.left - around.left,
        gap: 7,
        font: numeral,
        stroke: inks.ink2,
        splits: () => data.rungs,
        values: (_, rungs) => rungs.map((rung) => number.format(rung)),
        grid: { stroke: inks.feint, width: 1 },
        ticks: { show: false },
      },
    ],
    series: [{}, { stroke: inks.ink, width: data.joined ? 1.7 : 0, spanGaps: false, points: { show: false } }],
    hooks: {
      drawAxes: [(plot) => beneath(pen(plot, inks), data, place)],
      draw: [(plot) => above(pen(plot, inks), data, place)],
      setSelect: [(plot) => closer(plot)],
      setCursor: [(plot) => read(figure, data, plot, number)],
    },
  };
  return new uPlot(options, columns.slice(0, 2), figure);
}

// What draws on the canvas in pixels of the page, with places by moment and by value.
function pen(plot, inks) {
  const { ctx } = plot;
  const scale = devicePixelRatio;
  const [left, width] = [plot.bbox.left / scale, plot.bbox.width / scale];
  return {
    ctx,
    inks,
    left,
    right: left + width,
    x: (moment) => plot.valToPos(moment, "x", true) / scale,
    y: (value) => plot.valToPos(value, "y", true) / scale,
    shown: (moment) => moment >= view[0] && moment <= view[1],
    drawn(draws, { clip = true } = {}) {
      ctx.save();
      ctx.scale(scale, scale);
      if (clip) {
        ctx.beginPath();
        ctx.rect(left - 1, 0, width + 2, plot.height);
        ctx.clip();
      }
      draws();
      ctx.restore();
    },
    line(ink, width, lines, dash = []) {
      ctx.beginPath();
      ctx.strokeStyle = ink;
      ctx.lineWidth = width;
      ctx.setLineDash(dash);
      for (const [x1, y1, x2, y2] of lines) {
        ctx.moveTo(x1, y1);
        ctx.lineTo(x2, y2);
      }
      ctx.stroke();
    },
  };
}

// The axis with its words, blind time, and the uprights from lowest to highest.
function beneath({ ctx, inks, left, right, x, y, shown, drawn, line }, data, { top, bottom, axis, em, numeral }) {
  const ticks = data.ticks.filter(([moment]) => shown(moment));
  drawn(
    () => {
      line(inks.rule, 1, [[left, axis, right, axis], ...ticks.map(([moment]) => [x(moment), axis, x(moment), axis + 0.3 * em])]);
      ctx.font = numeral;
      ctx.fillStyle = inks.ink2;
      for (const [moment, text] of ticks) {
        const share = (x(moment) - left) / (right - left);
        ctx.textAlign = share < 0.03 ? "left" : share > 0.97 ? "right" : "center";
        ctx.fillText(text, x(moment), axis + 1.35 * em);
      }
    },
    { clip: false },
  );
  drawn(() => {
    const foot = data.lane ? (data.lane + 0.7) * em : bottom;
    for (const [start, end] of data.blind ?? []) hatched(ctx, inks, x(start), Math.max(x(end), x(start) + 3), top - 0.3 * em, foot);
    line(inks.ink2, 0.7, data.points.filter(([, , least]) => least !== null).map(([moment, , least, most]) => [x(moment), y(least), x(moment), y(most)]));
  });
}

function hatched(ctx, inks, left, right, top, bottom) {
  ctx.save();
  ctx.beginPath();
  ctx.rect(left, top, right - left, bottom - top);
  ctx.clip();
  ctx.beginPath();
  ctx.strokeStyle = inks.ink2;
  ctx.lineWidth = 0.9;
  const height = bottom - top;
  for (let foot = left - height; foot < right; foot += 6 * Math.SQRT2) {
    ctx.moveTo(foot, bottom);
    ctx.lineTo(foot + height, top);
  }
  ctx.stroke();
  ctx.restore();
  ctx.beginPath();
  ctx.strokeStyle = inks.ink2;
  ctx.lineWidth = 1;
  for (const end of [left, right]) {
    ctx.moveTo(end, top);
    ctx.lineTo(end, bottom);
  }
  ctx.stroke();
}

// Readings as bars, what it began with, the limit, and in their lane presses, sounds, starts and dips of the mains.
function above({ ctx, inks, left, right, x, y, shown, drawn, line }, data, { em }) {
  drawn(() => {
    const bar = 0.004 * (right - left);
    const values = data.points.map((point) => [point[0], point[data.joined ? 4 : 1]]).filter(([moment, value]) => value !== null && shown(moment));
    line(inks.ink, 2.6, values.map(([moment, value]) => [x(moment) - bar, y(value), x(moment) + bar, y(value)]));
    if (within(data, data.began)) line(inks.prussian, 1, [[left, y(data.began), right, y(data.began)]], [9, 3, 1.5, 3]);
    if (within(data, data.limit)) {
      const [height, side] = [y(data.limit), data.below ? 5 : -5];
      line(inks.madder, 1.5, [[left, height, right, height]]);
      const teeth = [];
      for (let at = left + TEETH_PX / 2; at < right; at += TEETH_PX) teeth.push([at, height, at - 4, height + side]);
      line(inks.madder, 0.9, teeth);
    }
    if (!data.lane) return;
    const lane = data.lane * em;
    line(inks.ink2, 1, [[left, lane, right, lane]]);
    line(inks.ink, 1.8, data.presses.filter(shown).map((moment) => [x(moment), lane - 0.375 * em, x(moment), lane + 0.375 * em]));
    line(inks.ink2, 1.1, data.doubtful.filter(shown).map((moment) => [x(moment), lane - 0.375 * em, x(moment), lane + 0.375 * em]), [2, 2]);
    line(inks.ink, 1.4, data.starts.filter(shown).map((moment) => [x(moment), lane, x(moment), lane + 0.8 * em]));
    const dips = data.dips.filter(([moment]) => shown(moment)).flatMap(([moment, rose]) => {
      const [middle, height, side] = [x(moment), lane - 0.9 * em, rose ? -DIP_PX : DIP_PX];
      return [[middle - DIP_PX, height - side, middle, height + side], [middle, height + side, middle + DIP_PX, height - side]];
    });
    line(inks.ink, 1.4, dips);
    if (data.now) line(inks.ink, 2, [[x(data.now), 0, x(data.now), lane + 0.7 * em]]);
    ctx.fillStyle = inks.ink;
    for (const moment of data.sounds.filter(shown)) {
      ctx.beginPath();
      ctx.arc(x(moment), lane + 0.75 * em, 2.6, 0, 2 * Math.PI);
      ctx.fill();
    }
  });
}

const within = (data, value) => value !== null && value !== undefined && value >= data.low && value <= data.high;

// A stretch has been drawn out by hand.
function closer(plot) {
  const { left, width } = plot.select;
  if (width >= LEAST_PX) show(plot.posToVal(left, "x"), plot.posToVal(left + width, "x"));
  else if (width) plot.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
}

function wider() {
  const length = view[1] - view[0];
  show(view[0] - length, view[1] + length);
}

function show(start, end) {
  const [middle, half] = [(start + end) / 2, Math.max(end - start, LEAST_S) / 2];
  view = [middle - half, middle + half];
  for (const { plot } of charts) {
    plot.setSelect({ left: 0, top: 0, width: 0, height: 0 }, false);
    plot.setScale("x", { min: view[0], max: view[1] });
  }
  const [first, last] = view.map((moment) => `${new Date(1000 * moment).toISOString().slice(0, 19)}Z`);
  ask(`?first=${first}&last=${last}`);
}

function ask(address) {
  history.pushState(null, "", address);
  document.dispatchEvent(new Event("outdated"));
  const { hash } = location;
  if (hash) document.addEventListener("renewed", () => document.querySelector(hash)?.scrollIntoView(), { once: true });
}

// The ways to other stretches lead there without a new page.
function follow(event) {
  const way = event.target.closest(".ways a");
  if (!way || way.pathname !== location.pathname || event.button || event.metaKey || event.ctrlKey || event.shiftKey) return;
  event.preventDefault();
  ask(way.href);
}

// The figures under the hand stand in the place of what is said below the chart.
function read(figure, data, plot, number) {
  const caption = figure.querySelector("figcaption");
  caption.dataset.said ??= caption.textContent;
  const point = plot.cursor.idx === null || plot.cursor.idx === undefined ? null : data.points[plot.cursor.idx];
  if (!point || point[1] === null || !inView(point[0])) {
    caption.textContent = caption.dataset.said;
    return;
  }
  const { zone, read: words } = figure.dataset;
  const lang = document.documentElement.lang;
  const finer = new Intl.NumberFormat(lang, { minimumSignificantDigits: 4, maximumSignificantDigits: 4, useGrouping: false });
  const told = { when: when(point[0], lang, zone), value: unit(finer.format(point[1]), data.unit) };
  for (const [name, value] of [["least", point[2]], ["most", point[3]]]) told[name] = value === null ? "–" : unit(finer.format(value), data.unit);
  caption.textContent = words.replace(/\{(\w+)\}/g, (_, name) => told[name]);
}

const inView = (moment) => moment >= view[0] && moment <= view[1];
const unit = (figure, name) => `${figure}\u202f${name}`;

function when(moment, lang, zone) {
  const parts = { timeZone: zone, day: "numeric", month: "short", year: "numeric", hour: "2-digit", minute: "2-digit" };
  return new Intl.DateTimeFormat(lang, parts).format(1000 * moment).replace(":", ".");
}

take();
document.addEventListener("renewed", take);
document.addEventListener("click", follow);
for (const media of [forced, dark]) media.addEventListener("change", take);
document.fonts.ready.then(take);
let width = innerWidth;
addEventListener("resize", () => {
  if (innerWidth === width) return;
  width = innerWidth;
  take();
});
