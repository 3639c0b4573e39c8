"use strict";
(async function () {
  const letters = atob(document.getElementById("motion-data").textContent), packed = new Uint8Array(letters.length);
  for (let at = 0; at < letters.length; at += 1) packed[at] = letters.charCodeAt(at);
  const unpacked = new Blob([packed]).stream().pipeThrough(new DecompressionStream("gzip"));
  const bytes = new Uint8Array(await new Response(unpacked).arrayBuffer());
  const length = new DataView(bytes.buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + length)));
  const n = head.samples, begin = head.begin, end = begin + (n - 1) * head.dt;
  head.traces.forEach(function (trace, number) {
    const low = bytes.subarray(4 + length + 2 * number * n), high = low.subarray(n), values = new Int16Array(n);
    for (let i = 0; i < n; i += 1) values[i] = low[i] | (high[i] << 8);
    for (let k = 0; k < trace.order; k += 1) for (let i = 1; i < n; i += 1) values[i] += values[i - 1];
    trace.values = values;
    trace.most = values.reduce(function (most, value) { return Math.max(most, Math.abs(value)); }, 1);
  });

  const box = document.getElementById("zoom"), canvas = box.querySelector("canvas"), pen = canvas.getContext("2d");
  const where = document.getElementById("zoom-where");
  const LEFT = 64, RIGHT = 8, HIGH = 104, FOOT = 24, HEAD = 20, LEAST = Math.min(8 * head.dt, end - begin);
  let first = begin, last = end, held = null;

  function nice(most) {
    const power = 10 ** Math.floor(Math.log10(most)), part = most / power;
    return (part >= 5 ? 5 : part >= 2 ? 2 : 1) * power;
  }

  function text(words, x, y, colour, align) {
    pen.fillStyle = colour;
    pen.textAlign = align;
    pen.fillText(words, x, y);
  }

  // Of each column of pixels the range of its samples; where samples are further apart than two pixels, each of them.
  function line(trace, from, to, xOf, yOf) {
    const wide = xOf(last) - xOf(first), columns = Math.max(1, Math.round(wide)), each = (to - from + 1) / columns;
    pen.beginPath();
    if (each <= 2) for (let i = from; i <= to; i += 1) pen.lineTo(xOf(begin + i * head.dt), yOf(trace.values[i]));
    else for (let i = from; i <= to;) {
      const stop = Math.min(to + 1, Math.max(i + 1, Math.floor(from + each * (Math.floor((i - from) / each) + 1))));
      let least = i, most = i;
      for (; i < stop; i += 1) {
        if (trace.values[i] < trace.values[least]) least = i;
        if (trace.values[i] > trace.values[most]) most = i;
      }
      [Math.min(least, most), Math.max(least, most)].forEach(function (k) {
        pen.lineTo(xOf(begin + k * head.dt), yOf(trace.values[k]));
      });
    }
    pen.stroke();
    if (each * 5 < 1) for (let i = from; i <= to; i += 1) {
      pen.fillRect(xOf(begin + i * head.dt) - 2, yOf(trace.values[i]) - 2, 4, 4);
    }
  }

  function draw() {
    const ratio = window.devicePixelRatio || 1, wide = box.clientWidth, high = HIGH * head.traces.length + FOOT;
    canvas.width = Math.round(wide * ratio);
    canvas.height = Math.round(high * ratio);
    canvas.style.height = high + "px";
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.font = "12px system-ui, 'Segoe UI', 'DejaVu Sans', sans-serif";
    pen.clearRect(0, 0, wide, high);
    const xOf = function (time) { return LEFT + (time - first) / (last - first) * (wide - LEFT - RIGHT); };
    const from = Math.max(0, Math.floor((first - begin) / head.dt)), step = nice((last - first) / (wide > 600 ? 4 : 2));
    const to = Math.min(n - 1, Math.ceil((last - begin) / head.dt));
    const digits = Math.max(0, -Math.floor(Math.log10(step)));
    head.traces.forEach(function (trace, number) {
      const top = number * HIGH + HEAD, middle = top + (HIGH - HEAD) / 2, reach = (HIGH - HEAD) / 2 - 4;
      const yOf = function (value) { return middle - reach * value / trace.most; };
      const mark = nice(trace.most * trace.scale), words = trace.peak[0];
      pen.lineWidth = 1;
      pen.strokeStyle = head.rule;
      pen.beginPath();
      [-mark, 0, mark].forEach(function (value) {
        const y = yOf(value / trace.scale);
        pen.moveTo(LEFT, y);
        pen.lineTo(wide - RIGHT, y);
        text(String(Number(value.toPrecision(1))), LEFT - 6, y + 4, head.ink, "right");
      });
      for (let k = Math.ceil(first / step); k * step <= last; k += 1) {
        pen.moveTo(xOf(k * step), top);
        pen.lineTo(xOf(k * step), top + HIGH - HEAD);
      }
      pen.stroke();
      text(trace.title, LEFT, top - 6, head.ink, "left");
      if (wide > 480) text(words, wide - RIGHT, top - 6, head.ink, "right");
      pen.save();
      pen.beginPath();
      pen.rect(LEFT, top - 2, wide - LEFT - RIGHT, HIGH - HEAD + 4);
      pen.clip();
      pen.strokeStyle = pen.fillStyle = trace.colour;
      line(trace, from, to, xOf, yOf);
      if (head.onset !== null) {
        pen.strokeStyle = head.faint;
        pen.setLineDash([4, 3]);
        pen.beginPath();
        pen.moveTo(xOf(head.onset), top);
        pen.lineTo(xOf(head.onset), top + HIGH - HEAD);
        pen.stroke();
        pen.setLineDash([]);
      }
      const at = Math.round((trace.peak[1] - begin) / head.dt);
      pen.fillStyle = head.ink;
      pen.beginPath();
      if (at >= 0 && at < n) pen.arc(xOf(begin + at * head.dt), yOf(trace.values[at]), 3, 0, 7);
      pen.fill();
      trace.findings.forEach(function (one, row) {
        pen.fillStyle = head.alarm;
        pen.fillRect(xOf(one[1]) - 1, top - 2, Math.max(2, xOf(one[2]) - xOf(one[1])), 4);
        const x = Math.max(LEFT + 3, xOf(one[1])), y = top + 15 + 13 * row;
        pen.fillStyle = "#fffd";
        pen.fillRect(x, y - 10, pen.measureText(one[0]).width, 12);
        text(one[0], x, y, head.alarm, "left");
      });
      pen.restore();
    });
    for (let k = Math.ceil(first / step); k * step <= last; k += 1) {
      text((k * step).toFixed(digits), Math.min(xOf(k * step), wide - 20), high - 7, head.ink, "center");
    }
    where.textContent = first.toFixed(2) + " to " + last.toFixed(2) + " s, " + (to - from + 1) + " samples";
  }

  function show(middle, wide) {
    wide = Math.max(LEAST, Math.min(end - begin, wide));
    first = Math.max(begin, Math.min(end - wide, middle - wide / 2));
    last = first + wide;
    draw();
  }
  function zoom(factor, about) { show(about + ((first + last) / 2 - about) * factor, (last - first) * factor); }
  function pan(by) { show((first + last) / 2 + by * (last - first), last - first); }
  function timeAt(event) {
    const frame = canvas.getBoundingClientRect();
    return first + (event.clientX - frame.left - LEFT) / (frame.width - LEFT - RIGHT) * (last - first);
  }
  const middle = function () { return (first + last) / 2; };
  const doing = {  // from the whole record, the first step leads to the peak
    "+": function () { last - first < end - begin ? zoom(0.5, middle()) : show(head.traces[0].peak[1], (end - begin) / 2); },
    "-": function () { zoom(2, middle()); },
    "0": function () { show(0, end - begin); }, ArrowLeft: function () { pan(-0.2); }, ArrowRight: function () { pan(0.2); },
  };
  doing["="] = doing.ArrowUp = doing["+"];
  doing.ArrowDown = doing["-"];
  doing.Home = doing["0"];
  box.addEventListener("keydown", function (event) {
    if (!doing[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    doing[event.key]();
  });
  box.querySelectorAll("button").forEach(function (button) { button.addEventListener("click", doing[button.dataset.key]); });
  canvas.addEventListener("wheel", function (event) {
    if (!box.contains(document.activeElement)) return;  // until it is chosen, the wheel turns the page
    event.preventDefault();
    zoom(event.deltaY > 0 ? 1.25 : 0.8, timeAt(event));
  }, { passive: false });
  canvas.addEventListener("pointerdown", function (event) { held = timeAt(event); canvas.setPointerCapture(event.pointerId); });
  canvas.addEventListener("pointermove", function (event) {
    if (held !== null) show(middle() + held - timeAt(event), last - first);
  });
  ["pointerup", "pointercancel"].forEach(function (name) { canvas.addEventListener(name, function () { held = null; }); });
  document.documentElement.classList.add("zooming");
  box.hidden = false;
  new ResizeObserver(draw).observe(box);
  draw();
}());
