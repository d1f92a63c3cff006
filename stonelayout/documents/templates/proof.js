"use strict";
(() => {
  const $ = (id) => document.getElementById(id);
  const data = JSON.parse($("data").textContent);
  const [x0, y0, x1, y1] = data.box;
  const stage = $("stage");
  const CSS_PX = 96 / 25.4; // CSS pixels a mm at true size (CSS Values and Units)
  const MARGIN = 12;
  const FOOT = 14;
  const LABEL_PX = 40; // what a measure and its words take beside a design, however small it is shown
  const view = { scale: 1, x: (x0 + x1) / 2, y: (y0 + y1) / 2 };
  let fitted = true;

  const kinds = data.kinds.map((kind) => {
    // Places are whole hundredths of a mm, each written as the step from the one before.
    const places = new Float64Array(kind.places.length);
    for (let i = 0, x = 0, y = 0; i < kind.places.length; i += 2) {
      x += kind.places[i];
      y += kind.places[i + 1];
      places[i] = x / 100;
      places[i + 1] = y / 100;
    }
    return { ...kind, places };
  });

  // ---- one stone, drawn once for each size in pixels and stamped wherever it stands ----
  let sprites = new Map();
  let spriteScale = 0;
  function sprite(k, variant, pixels) {
    const key = k * 8 + variant;
    let found = sprites.get(key);
    if (!found) {
      found = document.createElement("canvas");
      const size = Math.max(1, Math.ceil(pixels) + 2);
      found.width = found.height = size;
      const pen = found.getContext("2d");
      pen.translate(size / 2, size / 2);
      pen.scale(pixels / 2, pixels / 2);
      for (const [corners, fill] of kinds[k].gems[variant]) {
        pen.fillStyle = fill;
        pen.beginPath();
        for (let i = 0; i < corners.length; i += 2) pen.lineTo(corners[i], corners[i + 1]);
        pen.closePath();
        pen.fill();
      }
      sprites.set(key, found);
    }
    return found;
  }

  // ---- drawing: scale in device pixels a mm, (left, top) the mm at the canvas's corner ----
  function stones(pen, width, height, scale, left, top) {
    if (scale !== spriteScale) {
      sprites = new Map();
      spriteScale = scale;
    }
    const garment = $("garment").value;
    pen.setTransform(1, 0, 0, 1, 0, 0);
    pen.fillStyle = garment;
    pen.fillRect(0, 0, width, height);
    kinds.forEach((kind, k) => {
      if (!$("layer" + k).checked) return;
      const pixels = kind.diameter * scale;
      const reach = pixels / 2 + 1;
      for (let i = 0; i < kind.places.length; i += 2) {
        const x = (kind.places[i] - left) * scale;
        const y = (kind.places[i + 1] - top) * scale;
        if (x < -reach || y < -reach || x > width + reach || y > height + reach) continue;
        const n = i / 2;
        const stamp = sprite(k, (n + Math.floor(n / 7)) % kind.gems.length, pixels);
        pen.drawImage(stamp, x - stamp.width / 2, y - stamp.height / 2);
      }
    });
  }
  function notes(pen, scale, left, top, dot) {
    const place = (x, y) => [(x - left) * scale, (y - top) * scale];
    if ($("sizes").checked) measures(pen, place, dot, ink($("garment").value));
    const marks = $("marks");
    if (marks && marks.checked && !document.body.classList.contains("customer")) {
      for (const mark of data.findings) finding(pen, ...place(mark.x, mark.y), mark.label, dot);
    }
  }

  function measures(pen, place, dot, colour) {
    const [left, top] = place(x0, y0);
    const [right, bottom] = place(x1, y1);
    pen.strokeStyle = pen.fillStyle = colour;
    pen.lineWidth = dot;
    pen.font = `${13 * dot}px "Liberation Sans", Helvetica, Arial, sans-serif`;
    pen.textAlign = "center";
    const y = bottom + 12 * dot;
    const x = right + 12 * dot;
    const tick = 5 * dot;
    pen.beginPath();
    pen.moveTo(left, y - tick);
    pen.lineTo(left, y + tick);
    pen.moveTo(left, y);
    pen.lineTo(right, y);
    pen.moveTo(right, y - tick);
    pen.lineTo(right, y + tick);
    pen.moveTo(x - tick, top);
    pen.lineTo(x + tick, top);
    pen.moveTo(x, top);
    pen.lineTo(x, bottom);
    pen.moveTo(x - tick, bottom);
    pen.lineTo(x + tick, bottom);
    pen.stroke();
    pen.fillText(data.width, (left + right) / 2, y + 17 * dot);
    pen.save();
    pen.translate(x + 17 * dot, (top + bottom) / 2);
    pen.rotate(-Math.PI / 2);
    pen.fillText(data.height, 0, 0);
    pen.restore();
  }

  function finding(pen, x, y, label, dot) {
    pen.beginPath();
    pen.arc(x, y, 13 * dot, 0, 2 * Math.PI);
    pen.strokeStyle = "#ffffff";
    pen.lineWidth = 5 * dot;
    pen.stroke();
    pen.strokeStyle = "#e0115f";
    pen.lineWidth = 2.5 * dot;
    pen.stroke();
    pen.beginPath();
    pen.arc(x + 12 * dot, y - 12 * dot, 9 * dot, 0, 2 * Math.PI);
    pen.fillStyle = "#e0115f";
    pen.fill();
    pen.fillStyle = "#ffffff";
    pen.textAlign = "center";
    pen.font = `bold ${11 * dot}px "Liberation Sans", Helvetica, Arial, sans-serif`;
    pen.fillText(label, x + 12 * dot, y - 8 * dot);
  }

  function ink(colour) {
    const [r, g, b] = [1, 3, 5].map((i) => {
      const part = parseInt(colour.slice(i, i + 2), 16) / 255;
      return part <= 0.04045 ? part / 12.92 : ((part + 0.055) / 1.055) ** 2.4;
    });
    return 0.2126 * r + 0.7152 * g + 0.0722 * b > 0.179 ? "#000000" : "#ffffff";
  }

  // ---- the view: while it moves, the last drawing is moved along; at rest it is drawn anew ----
  const held = { canvas: document.createElement("canvas"), scale: 0, left: 0, top: 0 };
  const AROUND = 0.4; // drawn beyond each side of the picture, in its widths and heights
  const REST_MS = 90;
  let waiting = false;
  let resting = 0;
  function refresh() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      show();
    });
  }
  function glide() {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      show(held.scale > 0);
    });
    clearTimeout(resting);
    resting = setTimeout(refresh, REST_MS);
  }
  function show(quick = false) {
    const dot = window.devicePixelRatio || 1;
    const width = stage.clientWidth;
    const height = stage.clientHeight;
    if (!width || !height) return;
    if (stage.width !== Math.round(width * dot) || stage.height !== Math.round(height * dot)) {
      stage.width = Math.round(width * dot);
      stage.height = Math.round(height * dot);
    }
    if (fitted) fit();
    const scale = view.scale * dot;
    const left = view.x - width / 2 / view.scale;
    const top = view.y - height / 2 / view.scale;
    if (!quick) {
      const side = [Math.round(stage.width * AROUND), Math.round(stage.height * AROUND)];
      held.canvas.width = stage.width + 2 * side[0];
      held.canvas.height = stage.height + 2 * side[1];
      held.scale = scale;
      held.left = left - side[0] / scale;
      held.top = top - side[1] / scale;
      const { canvas } = held;
      stones(canvas.getContext("2d"), canvas.width, canvas.height, scale, held.left, held.top);
    }
    const pen = stage.getContext("2d");
    pen.fillStyle = $("garment").value;
    pen.fillRect(0, 0, stage.width, stage.height);
    const grown = scale / held.scale;
    pen.drawImage(
      held.canvas,
      (held.left - left) * scale,
      (held.top - top) * scale,
      held.canvas.width * grown,
      held.canvas.height * grown,
    );
    notes(pen, scale, left, top, dot);
    $("zoom").textContent = `${Math.round((view.scale / CSS_PX) * 100)} %`;
  }
  function fit() {
    const side = MARGIN + ($("sizes").checked ? FOOT : 0);
    const words = $("sizes").checked ? 2 * LABEL_PX : 0;
    const scales = [
      [stage.clientWidth, x1 - x0],
      [stage.clientHeight, y1 - y0],
    ].flatMap(([room, size]) => [room / (size + 2 * side), (room - words) / size]);
    view.scale = Math.max(0.05, Math.min(...scales));
    view.x = (x0 + x1) / 2;
    view.y = (y0 + y1) / 2;
  }
  function zoom(factor, px = stage.clientWidth / 2, py = stage.clientHeight / 2) {
    const scale = Math.min(80, Math.max(0.1, view.scale * factor));
    const dx = px - stage.clientWidth / 2;
    const dy = py - stage.clientHeight / 2;
    view.x += dx / view.scale - dx / scale;
    view.y += dy / view.scale - dy / scale;
    view.scale = scale;
    fitted = false;
    glide();
  }
  function move(dx, dy) {
    view.x += dx / view.scale;
    view.y += dy / view.scale;
    fitted = false;
    glide();
  }
  function whole() {
    fitted = true;
    refresh();
    tell("The whole design is shown.");
  }
  function real() {
    view.scale = CSS_PX;
    fitted = false;
    refresh();
    tell("True size on a screen of 96 pixels an inch; others may differ.");
  }
  function tell(words) {
    $("status").textContent = words;
  }
  function stepZoom(factor) {
    zoom(factor);
    tell(`Zoom ${Math.round((view.scale / CSS_PX) * 100)} %.`);
  }

  $("in").onclick = () => stepZoom(1.4);
  $("out").onclick = () => stepZoom(1 / 1.4);
  $("fit").onclick = whole;
  $("real").onclick = real;
  $("print").onclick = () => window.print();
  stage.addEventListener("keydown", (event) => {
    const step = 60;
    const act = {
      "+": () => stepZoom(1.4),
      "=": () => stepZoom(1.4),
      "-": () => stepZoom(1 / 1.4),
      0: whole,
      1: real,
      ArrowLeft: () => move(-step, 0),
      ArrowRight: () => move(step, 0),
      ArrowUp: () => move(0, -step),
      ArrowDown: () => move(0, step),
    }[event.key];
    if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    act();
  });
  stage.addEventListener(
    "wheel",
    (event) => {
      if (!event.ctrlKey && document.activeElement !== stage) return;
      event.preventDefault();
      zoom(Math.exp(-Math.max(-120, Math.min(120, event.deltaY)) / 300), event.offsetX, event.offsetY);
    },
    { passive: false },
  );
  const fingers = new Map();
  stage.addEventListener("pointerdown", (event) => {
    stage.setPointerCapture(event.pointerId);
    fingers.set(event.pointerId, event);
  });
  stage.addEventListener("pointermove", (event) => {
    const before = fingers.get(event.pointerId);
    if (!before) return;
    const other = [...fingers.values()].find((one) => one.pointerId !== event.pointerId);
    if (other) {
      const reach = (one) => Math.hypot(one.offsetX - other.offsetX, one.offsetY - other.offsetY);
      zoom(reach(event) / Math.max(1, reach(before)), other.offsetX, other.offsetY);
    } else {
      move(before.offsetX - event.offsetX, before.offsetY - event.offsetY);
    }
    fingers.set(event.pointerId, event);
  });
  for (const name of ["pointerup", "pointercancel"]) {
    stage.addEventListener(name, (event) => fingers.delete(event.pointerId));
  }

  // ---- switches ----
  kinds.forEach((kind, k) => {
    $("layer" + k).addEventListener("change", () => {
      refresh();
      const shown = kinds.filter((_, i) => $("layer" + i).checked).length;
      tell(`${shown} of ${kinds.length} kinds of stone shown.`);
    });
  });
  for (const id of ["sizes", "marks", "garment"]) {
    if ($(id)) $(id).addEventListener("input", refresh);
  }
  const customer = $("customer");
  if (customer) {
    customer.addEventListener("change", () => {
      document.body.classList.toggle("customer", customer.checked);
      refresh();
    });
  }
  data.findings.forEach((mark) => {
    $("finding" + mark.label).addEventListener("click", () => {
      view.x = mark.x;
      view.y = mark.y;
      view.scale = Math.max(view.scale, 16);
      fitted = false;
      $("marks").checked = true;
      refresh();
      tell(`Finding ${mark.label} is in the middle of the picture.`);
      stage.scrollIntoView({ block: "nearest" });
    });
  });

  // ---- print: the whole design, true size where the paper allows ----
  function paper() {
    const sheet = $("paper");
    const side = 16;
    const [wide, high] = [x1 - x0 + 2 * side, y1 - y0 + 2 * side];
    const scale = Math.min(8, 6000 / Math.max(wide, high)); // dots a mm: 200 an inch
    sheet.width = Math.round(wide * scale);
    sheet.height = Math.round(high * scale);
    sheet.style.width = `${wide}mm`;
    sheet.style.height = "auto";
    sheet.style.objectFit = "contain";
    sheet.style.objectPosition = "left top";
    const pen = sheet.getContext("2d");
    stones(pen, sheet.width, sheet.height, scale, x0 - side, y0 - side);
    notes(pen, scale, x0 - side, y0 - side, scale / 4);
  }
  window.addEventListener("beforeprint", paper);
  new ResizeObserver(refresh).observe($("frame"));
  show();
})();
