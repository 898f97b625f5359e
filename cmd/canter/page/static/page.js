// What the page does beyond what HTML does by itself: it shows what a change
// would do while it is being chosen, draws the zooming charts, and waits for
// dropped files. All text comes from the server, which has escaped it.
"use strict";
(() => {
  const root = document.documentElement;
  root.classList.add("script");
  const $ = (selector, from = document) => from.querySelector(selector);
  const $$ = (selector, from = document) => [...from.querySelectorAll(selector)];
  // Paper is white, whatever the screen was.
  const onPaper = {"--paper": "#fff", "--ink": "#000", "--soft": "#333", "--trace": "#000", "--far": "#777", "--rule": "#999", "--band": "rgba(0, 0, 0, .09)"};
  let printing = false;
  const ink = name => printing ? onPaper[name] : getComputedStyle(root).getPropertyValue(name).trim();
  const clock = s => {
    const n = Math.abs(Math.round(s));
    return (s < 0 && n ? "−" : "") + Math.floor(n / 60) + ":" + String(n % 60).padStart(2, "0");
  };

  // Buttons that only stand in for script would catch the Enter key.
  $$(".noscript button").forEach(b => b.remove());

  // ---- trying a change -------------------------------------------------
  const changed = new EventTarget(); // "shift": the proposed start has moved
  let proposed = 0; // seconds that the start is proposed to move by
  $$("form[data-try]").forEach(form => {
    const region = $(".tried", form);
    let timer, running;
    const number = $("input[name=shift]", form);
    const radio = $("input[name=action][value=start]", form);
    const shiftNow = () => !radio || radio.checked ? Number(number.value) || 0 : 0;
    const tell = () => { proposed = shiftNow(); changed.dispatchEvent(new Event("shift")); };
    const attempt = async () => {
      const asked = new URLSearchParams();
      for (const name of ["id", "action", "shift"]) {
        const value = new FormData(form).get(name);
        if (value !== null) asked.set(name, value);
      }
      const action = asked.get("action");
      tell();
      if (radio ? !action : asked.get("shift") === "") return;
      running?.abort();
      running = new AbortController();
      region.classList.add("waiting");
      try {
        const answer = await fetch(form.dataset.try + "?" + asked, {signal: running.signal});
        if (answer.status === 401) { location.reload(); return; }
        const html = await answer.text();
        if (answer.ok) region.innerHTML = html;
        else region.textContent = "This can't be shown just now.";
        region.classList.remove("waiting");
      } catch (e) {
        if (e.name !== "AbortError") { region.textContent = "The service did not answer."; region.classList.remove("waiting"); }
      }
    };
    form.addEventListener("input", e => {
      if (!["action", "shift"].includes(e.target.name)) return;
      if (e.target === number && radio) radio.checked = true;
      clearTimeout(timer);
      timer = setTimeout(attempt, 250);
    });
    $$("[data-step]", form).forEach(b => b.addEventListener("click", () => {
      number.value = (Number(number.value) || 0) + Number(b.dataset.step);
      number.dispatchEvent(new Event("input", {bubbles: true}));
    }));
    if (!radio || radio.checked) tell();
    form.addEventListener("submit", () => { setTimeout(() => $$("button", form).forEach(b => { b.disabled = true; }), 0); });
  });
  // Back from another page, buttons work again.
  addEventListener("pageshow", e => { if (e.persisted) $$("button:disabled").forEach(b => { b.disabled = false; }); });

  // ---- charts ----------------------------------------------------------
  const axis = (label, more = {}) => Object.assign({
    label, stroke: () => ink("--ink"), grid: {stroke: () => ink("--rule"), width: 0.5}, ticks: {stroke: () => ink("--rule"), width: 1},
    font: "13px Liberation Sans, Arial, sans-serif", labelFont: "13px Liberation Sans, Arial, sans-serif", labelSize: 22,
  }, more);
  const steps = [5, 10, 15, 30, 60, 120, 300, 600, 1200, 1800, 3600];

  // chart makes a zooming chart in a box with tools around it.
  function chart(box, data, series, more) {
    const plot = $(".plot", box), readout = $(".readout", box);
    const whole = [data[0][0], data[0][data[0].length - 1]];
    // On paper it has the width of A4 within its margins.
    const size = () => printing ? {width: 690, height: 300} : {width: Math.max(280, plot.clientWidth), height: innerWidth < 640 ? 260 : 340};
    let u;
    const zoomTo = (min, max) => {
      const span = Math.min(Math.max(max - min, 10), whole[1] - whole[0]);
      min = Math.min(Math.max(min, whole[0]), whole[1] - span);
      u.setScale("x", {min, max: min + span});
    };
    const zoom = how => {
      const {min, max} = u.scales.x, span = max - min;
      const at = u.cursor.idx != null && u.cursor.left >= 0 ? data[0][u.cursor.idx] : (min + max) / 2;
      switch (how) {
        case "in": zoomTo(at - (at - min) / 2, at + (max - at) / 2); break;
        case "out": zoomTo(at - (at - min) * 2, at + (max - at) * 2); break;
        case "left": zoomTo(min - span / 4, max - span / 4); break;
        case "right": zoomTo(min + span / 4, max + span / 4); break;
        default: zoomTo(...whole);
      }
    };
    const draw = () => {
      const kept = u && {min: u.scales.x.min, max: u.scales.x.max};
      u?.destroy();
      u = new uPlot({
        ...size(), series, legend: {show: false}, focus: more.focus,
        scales: {x: {time: false}, y: {range: (_, low, high) => low == null ? [60, 200] : [Math.floor(low / 10) * 10 - 5, Math.ceil(high / 10) * 10 + 5]}, speed: {range: (_, low, high) => [0, Math.max(20, (high || 0) * 2.2)]}},
        axes: [axis("minutes from the start of the run", {incrs: steps, values: (_, at) => at.map(clock), space: 60}), axis("heart rate, bpm", {size: 56}), ...(more.axes || [])],
        cursor: {drag: {x: true, y: false, setScale: true}, points: {show: more.points !== false}, ...(more.cursor || {})},
        hooks: {
          drawClear: [c => more.under?.(c)], draw: [c => more.over?.(c)], setSeries: [(c, i) => more.near?.(c, i)],
          setCursor: [c => { if (c.cursor.idx != null && c.cursor.left >= 0) readout.textContent = more.say(c.cursor.idx, c); }],
        },
      }, data, plot);
      if (kept && kept.min != null) u.setScale("x", kept);
    };
    draw();
    const move = by => {
      let i = u.cursor.idx != null && u.cursor.left >= 0 ? u.cursor.idx + by : u.valToIdx(Math.max(0, u.scales.x.min));
      i = Math.min(Math.max(i, 0), data[0].length - 1);
      const at = data[0][i], {min, max} = u.scales.x;
      if (at < min || at > max) zoomTo(at - (max - min) / 2, at + (max - min) / 2);
      u.setCursor({left: u.valToPos(at, "x"), top: u.bbox.height / devicePixelRatio / 2});
    };
    plot.addEventListener("keydown", e => {
      if (e.ctrlKey || e.metaKey || e.altKey) return;
      const by = e.shiftKey ? 10 : 1;
      const act = {ArrowLeft: () => move(-by), ArrowRight: () => move(by), "+": () => zoom("in"), "=": () => zoom("in"), "-": () => zoom("out"), Home: () => zoom("all")}[e.key];
      if (act) { act(); e.preventDefault(); }
    });
    $$("[data-zoom]", box).forEach(b => b.addEventListener("click", () => zoom(b.dataset.zoom)));
    let waiting;
    new ResizeObserver(() => { clearTimeout(waiting); waiting = setTimeout(() => { if (!printing && u.width !== size().width) u.setSize(size()); }, 100); }).observe(plot);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", draw);
    addEventListener("beforeprint", () => { printing = true; draw(); });
    addEventListener("afterprint", () => { printing = false; draw(); });
    return {get: () => u, zoomTo};
  }

  const load = async url => {
    const answer = await fetch(url);
    if (!answer.ok) throw new Error("the numbers of the chart did not come");
    return answer.json();
  };
  const trouble = (box, e) => { $(".plot", box).textContent = "No chart: " + e.message + "."; };

  async function testChart(box) {
    const d = await load(box.dataset.trace);
    if (!d.seconds.length) { $(".plot", box).textContent = "Nothing is kept of this trace; look at the whole recording."; return; }
    const why = new Map();
    d.dropped.forEach(s => { for (let t = s.from; t < s.to; t++) why.set(t, s.why); });
    const crosses = d.seconds.map((t, i) => why.has(t) ? d.raw[i] : null);
    const data = [d.seconds, d.clean, crosses];
    const series = [{}, {stroke: () => ink("--trace"), width: 2, spanGaps: false, points: {show: false}}, {stroke: () => ink("--ink"), width: 0, paths: () => null, points: {show: false}}];
    const axes = [];
    if (d.has_speed) {
      data.push(d.speed);
      series.push({scale: "speed", stroke: () => ink("--far"), width: 1.2, dash: [4, 4], points: {show: false}});
      if (innerWidth >= 640) axes.push(axis("speed, km/h", {side: 1, scale: "speed", grid: {show: false}, size: 48}));
    }
    const under = u => {
      const {ctx, bbox} = u, px = devicePixelRatio;
      ctx.save();
      ctx.beginPath(); ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height); ctx.clip();
      const pos = at => u.valToPos(at + proposed, "x", true);
      const run = d.windows.find(w => w.name === "run");
      if (d.band && run) { // the intended intensity, between dashed lines, while the run lasts
        ctx.save();
        ctx.setLineDash([3 * px, 4 * px]); ctx.lineWidth = px; ctx.strokeStyle = ink("--far"); ctx.fillStyle = ink("--soft");
        ctx.font = `${12 * px}px Liberation Sans, Arial, sans-serif`; ctx.textAlign = "left";
        for (const at of [d.band.low, d.band.high]) {
          const y = u.valToPos(at, "y", true);
          ctx.beginPath(); ctx.moveTo(pos(run.from), y); ctx.lineTo(pos(run.to), y); ctx.stroke();
        }
        if (ctx.measureText(d.band.name).width < pos(run.to) - pos(run.from) - 12 * px) ctx.fillText(d.band.name, pos(run.from) + 6 * px, u.valToPos(d.band.high, "y", true) - 5 * px);
        ctx.restore();
      }
      d.windows.filter(w => w.name !== "run").forEach(w => {
        const from = pos(w.from), to = pos(w.to);
        ctx.fillStyle = ink("--band");
        ctx.fillRect(from, bbox.top, to - from, bbox.height);
        ctx.lineWidth = px; ctx.strokeStyle = ink("--far");
        ctx.strokeRect(from, bbox.top - 2, to - from, bbox.height + 4);
      });
      ctx.strokeStyle = ink("--ink"); ctx.lineWidth = 2 * px;
      d.windows.filter(w => w.name === "run").forEach(w => [w.from, w.to].forEach(at => {
        ctx.beginPath(); ctx.moveTo(pos(at), bbox.top); ctx.lineTo(pos(at), bbox.top + bbox.height); ctx.stroke();
      }));
      ctx.restore();
    };
    // Names of lines and bands, over all else, each clear of the others and of
    // the edges: one that would touch the name before it goes a line further in.
    const names = u => {
      const {ctx, bbox} = u, px = devicePixelRatio, line = 16 * px;
      ctx.save();
      ctx.font = `bold ${13 * px}px Liberation Sans, Arial, sans-serif`;
      ctx.textAlign = "left"; ctx.lineJoin = "round";
      const pos = at => u.valToPos(at + proposed, "x", true);
      const put = (texts, y, step) => {
        const ends = []; // where each line's last name ends
        for (const [text, x, from, to] of texts.sort((a, b) => a[2] - b[2])) {
          if (to < bbox.left || from > bbox.left + bbox.width) continue;
          const wide = ctx.measureText(text).width;
          const left = Math.min(Math.max(x(wide), bbox.left + 2 * px), bbox.left + bbox.width - wide - 2 * px);
          let k = 0;
          while (ends[k] > left - 4 * px) k++;
          ends[k] = left + wide;
          ctx.lineWidth = 3 * px; ctx.strokeStyle = ink("--paper"); ctx.strokeText(text, left, y + k * step);
          ctx.fillStyle = ink("--ink"); ctx.fillText(text, left, y + k * step);
        }
      };
      const top = [], bottom = [];
      for (const w of d.windows) {
        const from = pos(w.from), to = pos(w.to);
        if (w.name === "run") {
          top.push(["start", wide => from - wide - 5 * px, from, from], ["end", () => to + 5 * px, to, to]);
        } else {
          bottom.push([w.name, wide => (from + to - wide) / 2, from, to]);
        }
      }
      put(top, bbox.top + 15 * px, line);
      put(bottom, bbox.top + bbox.height - 12 * px, -line);
      ctx.restore();
    };
    const marks = u => { // crosses, as a mark that is none of colour alone
      const {ctx, bbox} = u, r = 3.5 * devicePixelRatio;
      ctx.save();
      ctx.beginPath(); ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height); ctx.clip();
      ctx.strokeStyle = ink("--ink"); ctx.lineWidth = 1.4 * devicePixelRatio;
      ctx.beginPath();
      crosses.forEach((v, i) => {
        if (v == null) return;
        const x = u.valToPos(d.seconds[i], "x", true), y = u.valToPos(v, "y", true);
        ctx.moveTo(x - r, y - r); ctx.lineTo(x + r, y + r); ctx.moveTo(x - r, y + r); ctx.lineTo(x + r, y - r);
      });
      ctx.stroke();
      ctx.lineWidth = 6 * devicePixelRatio; // and what did not count along the bottom, readings or none
      ctx.beginPath();
      d.dropped.forEach(s => {
        const y = bbox.top + bbox.height - 3 * devicePixelRatio;
        ctx.moveTo(u.valToPos(s.from, "x", true), y); ctx.lineTo(u.valToPos(s.to, "x", true), y);
      });
      ctx.stroke();
      ctx.restore();
    };
    const say = i => {
      const t = d.seconds[i], reason = why.get(t), hr = d.clean[i] ?? d.raw[i];
      let s = clock(t) + ": " + (hr == null ? "no reading" : Math.round(hr) + " bpm");
      if (reason) s += ", not used: " + reason;
      if (d.has_speed && d.speed[i] != null) s += ", " + d.speed[i].toFixed(1) + " km/h";
      return s;
    };
    const touch = $("#touch", box);
    const made = chart(box, data, series, {axes, under, over: u => { marks(u); names(u); }, say, points: false});
    touch?.addEventListener("click", () => touch.setAttribute("aria-pressed", String(touch.getAttribute("aria-pressed") !== "true")));
    $(".plot", box).addEventListener("click", e => {
      const u = made.get();
      if (touch?.getAttribute("aria-pressed") !== "true" || !u.over.contains(e.target)) return;
      const number = $("input[name=shift]");
      number.value = Math.round(u.posToVal(e.clientX - u.over.getBoundingClientRect().left, "x"));
      number.dispatchEvent(new Event("input", {bubbles: true}));
    });
    changed.addEventListener("shift", () => made.get().redraw());
  }

  async function sessionChart(box) {
    const d = await load(box.dataset.traces);
    const pick = $("#pick", box), link = $("#pick-link", box);
    if (!d.seconds) { box.hidden = true; return; }
    let picked = 0, near = null;
    const data = [d.seconds, ...d.traces.map(t => t.values)];
    const series = [{}, ...d.traces.map((t, i) => ({stroke: () => picked === i + 1 ? ink("--ink") : ink("--far"), width: 1, points: {show: false}}))];
    const under = u => {
      const {ctx, bbox} = u;
      ctx.save(); ctx.strokeStyle = ink("--ink"); ctx.lineWidth = 2 * devicePixelRatio;
      for (const at of [0, d.duration]) {
        const x = u.valToPos(at, "x", true);
        ctx.beginPath(); ctx.moveTo(x, bbox.top); ctx.lineTo(x, bbox.top + bbox.height); ctx.stroke();
      }
      ctx.restore();
    };
    const over = u => { // the one set off once more, above all others
      if (!picked) return;
      const {ctx, bbox} = u, values = d.traces[picked - 1].values;
      ctx.save();
      ctx.beginPath(); ctx.rect(bbox.left, bbox.top, bbox.width, bbox.height); ctx.clip();
      ctx.strokeStyle = ink("--ink"); ctx.lineWidth = 3.2 * devicePixelRatio; ctx.lineJoin = "round";
      ctx.beginPath();
      let pen = false;
      values.forEach((v, i) => {
        if (v == null) { pen = false; return; }
        const x = u.valToPos(d.seconds[i], "x", true), y = u.valToPos(v, "y", true);
        pen ? ctx.lineTo(x, y) : ctx.moveTo(x, y);
        pen = true;
      });
      ctx.stroke();
      ctx.restore();
    };
    const say = i => {
      const k = picked || near;
      if (!k) return clock(d.seconds[i]);
      const t = d.traces[k - 1], v = t.values[i];
      return t.name + ", " + clock(d.seconds[i]) + ": " + (v == null ? "no reading used" : Math.round(v) + " bpm");
    };
    const made = chart(box, data, series, {under, over, say, points: false, cursor: {focus: {prox: 24}}, focus: {alpha: 1}, near: (_, i) => { near = i; }});
    d.traces.forEach((t, i) => { const o = new Option(t.name + " (" + t.words + ")", String(i + 1)); pick.add(o); });
    const choose = k => {
      picked = k;
      link.hidden = !k;
      if (k) link.href = "/test?id=" + encodeURIComponent(d.traces[k - 1].test);
      made.get().redraw();
    };
    pick.addEventListener("change", () => choose(Number(pick.value) || 0));
    $(".plot", box).addEventListener("click", () => { if (near) { pick.value = String(near); choose(near); } });
  }

  // Series of sessions begin with the latest in view.
  $$(".latest").forEach(box => new ResizeObserver(() => { box.scrollLeft = box.scrollWidth; }).observe(box));

  const charts = [["#test-chart", testChart], ["#session-chart", sessionChart]];
  charts.forEach(([where, make]) => { const box = $(where); if (box) make(box).catch(e => trouble(box, e)); });

  // ---- dropping files --------------------------------------------------
  const zone = $(".zone");
  if (zone) {
    const input = $("input[type=file]", zone);
    for (const on of ["dragenter", "dragover"]) zone.addEventListener(on, e => { e.preventDefault(); zone.classList.add("over"); });
    for (const off of ["dragleave", "drop"]) zone.addEventListener(off, () => zone.classList.remove("over"));
    zone.addEventListener("drop", e => { e.preventDefault(); if (e.dataTransfer.files.length) input.files = e.dataTransfer.files; });
  }
  $$("[data-file]").forEach(line => {
    const look = async tries => {
      try {
        const s = await load("/files/state?id=" + encodeURIComponent(line.dataset.file));
        $("span", line).textContent = s.state;
        if (!s.over && tries < 60) setTimeout(look, 1000, tries + 1);
      } catch { /* the line keeps what it says */ }
    };
    look(0);
  });
})();
