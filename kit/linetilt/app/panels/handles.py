"""A picture with handles to drag: four corners of the score-line field and the two ends of the printed line, or other
four and two points."""

import anywidget
import traitlets

_ESM = r"""
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const STEPS_A_PICTURE = 1600;  // a keyboard step is one pixel of a picture of this size
const LOUPE_PX = 150, LOUPE_ZOOM = 4;

function make(tag, parent, className, attributes = {}) {
  const node = tag === "svg" || parent.tagName === "svg"
    ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
  if (className) node.setAttribute("class", className);
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  parent.appendChild(node);
  return node;
}

// The notebook's shortcuts (letters, arrows) must not fire from a control of the panel; JupyterLab asks the focused element itself.
function noShortcuts(event) {
  event.target.setAttribute("data-lm-suppress-shortcuts", "true");
}

function render({ model, el }) {
  const MARKS = Object.entries(model.get("marks"));
  const root = make("div", el, "lt-handles");
  const frame = make("div", root, "lt-frame");
  const stage = make("div", frame, "lt-stage");
  const image = make("img", stage, "", { draggable: "false" });
  const svg = make("svg", stage, "", { "aria-hidden": "true", preserveAspectRatio: "none" });
  const shapes = [["path", "lt-casing"], ["path", "lt-field"], ["line", "lt-casing"], ["line", "lt-line"]].map(([tag, style]) => make(tag, svg, style));
  const handles = MARKS.map(([letter, name], index) => {
    const handle = make("button", stage, `lt-handle lt-${index < 4 ? "square" : "round"}`, { type: "button", "aria-roledescription": "handle" });
    make("span", handle, "lt-ring");
    make("span", handle, "lt-letter").textContent = letter;
    handle.setAttribute("aria-label", `${letter}, ${name}. Arrow keys move it, with Shift ten steps.`);
    return handle;
  });
  const loupe = make("div", stage, "lt-loupe", { "aria-hidden": "true" });
  const below = make("div", root, "lt-below");
  const zoom = make("button", below, "lt-zoom", { type: "button" });
  const hint = make("span", below, "lt-hint");
  const said = make("span", below, "lt-said-position", { "aria-live": "polite" });
  let points = [], dragged = -1, url = null, timer = 0, times = 1;

  const size = () => model.get("size");
  const step = () => Math.max(1, Math.max(...size()) / STEPS_A_PICTURE);
  const groupOf = (index) => (index < 4 ? "corners" : "line");

  function draw() {
    const [width, height] = size();
    const active = model.get("active") && points.length === 6;
    root.classList.toggle("lt-active", active);
    if (!active) { loupe.style.display = "none"; return; }
    svg.setAttribute("viewBox", `0 0 ${width} ${height}`);
    const [a, b, c, d] = points.map((point) => point.join(","));
    const field = model.get("joined") ? `M${a} L${b} L${c} L${d} Z` : `M${a} L${b} M${c} L${d}`;
    shapes.forEach((shape, place) => {
      if (place < 2) { shape.setAttribute("d", field); return; }
      ["x1", "y1", "x2", "y2"].forEach((name, at) => shape.setAttribute(name, points[4 + (at >> 1)][at % 2]));
    });
    const middle = [0, 1].map((axis) => points.reduce((sum, point) => sum + point[axis] / 6, 0));
    points.forEach(([x, y], index) => {
      const handle = handles[index];
      handle.style.left = `${(100 * (x + 0.5)) / width}%`;
      handle.style.top = `${(100 * (y + 0.5)) / height}%`;
      handle.dataset.x = x; handle.dataset.y = y;
      handle.lastChild.style.transform = `translate(${x < middle[0] ? -19 : 19}px, ${y < middle[1] ? -19 : 19}px)`;
    });
    const shown = dragged >= 0 ? dragged : handles.indexOf(document.activeElement);
    loupe.style.display = shown < 0 ? "none" : "block";
    if (shown < 0) return;
    const [x, y] = points[shown], wide = stage.clientWidth * LOUPE_ZOOM / times, high = stage.clientHeight * LOUPE_ZOOM / times;
    loupe.style.backgroundImage = `url(${url})`;
    loupe.style.backgroundSize = `${wide}px ${high}px`;
    loupe.style.backgroundPosition = `${LOUPE_PX / 2 - (wide * (x + 0.5)) / width}px ${LOUPE_PX / 2 - (high * (y + 0.5)) / height}px`;
    // beside the handle and never over it: in the corner of what is in sight that is farthest away
    [["left", "scrollLeft", "clientWidth", x / width], ["top", "scrollTop", "clientHeight", y / height]].forEach(([edge, scrolled, length, share]) => {
      const start = frame[scrolled], end = Math.min(start + frame[length], stage[length]);
      loupe.style[edge] = `${share * stage[length] < (start + end) / 2 ? end - LOUPE_PX - 6 : start + 6}px`;
    });
  }

  function place(index, x, y) {
    const [width, height] = size();
    points[index] = [Math.min(Math.max(x, 0), width - 1), Math.min(Math.max(y, 0), height - 1)];
    draw();
  }

  function commit(index) {
    clearTimeout(timer);
    timer = 0;
    const group = groupOf(index);
    model.set(group, (index < 4 ? points.slice(0, 4) : points.slice(4)).map((point) => [...point]));
    model.save_changes();
    said.textContent = `${MARKS[index][0]}: ${Math.round(points[index][0])} across, ${Math.round(points[index][1])} down`;
  }

  handles.forEach((handle, index) => {
    let grip = [0, 0];
    const onStage = (event) => {
      const box = stage.getBoundingClientRect(), [width, height] = size();
      return [((event.clientX - box.left) / box.width) * width, ((event.clientY - box.top) / box.height) * height];
    };
    handle.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      const at = onStage(event);
      grip = [points[index][0] - at[0], points[index][1] - at[1]];
      dragged = index;
      handle.focus({ preventScroll: true });
      handle.setPointerCapture(event.pointerId);
      event.preventDefault();
      draw();
    });
    handle.addEventListener("pointermove", (event) => {
      if (dragged !== index) return;
      const at = onStage(event);
      place(index, at[0] + grip[0], at[1] + grip[1]);
    });
    const release = () => {
      if (dragged !== index) return;
      dragged = -1;
      draw();
      commit(index);
    };
    handle.addEventListener("pointerup", release);
    handle.addEventListener("pointercancel", release);
    handle.addEventListener("lostpointercapture", release);
    handle.addEventListener("keydown", (event) => {
      const arrow = ARROWS[event.key];
      if (!arrow || event.altKey || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      event.stopPropagation();
      const far = step() * (event.shiftKey ? 10 : 1);
      place(index, points[index][0] + arrow[0] * far, points[index][1] + arrow[1] * far);
      clearTimeout(timer);
      timer = setTimeout(() => commit(index), 350);
    });
    handle.addEventListener("focus", draw);
    handle.addEventListener("blur", () => { if (timer) commit(index); draw(); });
  });

  function fit() {
    const [width, height] = size();
    stage.style.aspectRatio = `${width} / ${height}`;
    stage.style.width = `calc(${times} * min(100%, ${(58 * width) / height}vh))`;
    zoom.textContent = `Zoom ${times}×`;
    zoom.setAttribute("aria-label", `Zoom of the picture, now ${times} times; press to change`);
    draw();
  }

  function newPicture() {
    if (url) URL.revokeObjectURL(url);
    const bytes = model.get("picture");
    url = bytes && bytes.byteLength ? URL.createObjectURL(new Blob([bytes], { type: "image/jpeg" })) : null;
    root.classList.toggle("lt-empty", !url);
    if (url) image.src = url; else image.removeAttribute("src");
    image.alt = model.get("alt");
    fit();
  }

  function newMarks() {
    if (dragged >= 0 || timer) return;  // the hand that is moving a handle has the say
    points = [...model.get("corners"), ...model.get("line")].map((point) => [...point]);
    draw();
  }

  zoom.addEventListener("click", () => { times = times === 3 ? 1 : times + 1; fit(); });
  frame.addEventListener("scroll", draw);
  hint.textContent = `Drag a handle, or go to it with Tab and use the arrow keys (with Shift: ten steps). ${model.get("hint")}`;
  const watched = { "change:picture": newPicture, "change:size": fit, "change:alt": newPicture, "change:corners": newMarks, "change:line": newMarks, "change:active": draw };
  for (const [event, react] of Object.entries(watched)) model.on(event, react);
  root.addEventListener("focusin", noShortcuts);
  const resized = new ResizeObserver(() => {  // runs when it is put into the page, too
    root.closest(".jp-OutputArea-output")?.addEventListener("focusin", noShortcuts);
    draw();
  });
  resized.observe(frame);
  newMarks();
  newPicture();
  return () => {
    for (const [event, react] of Object.entries(watched)) model.off(event, react);
    resized.disconnect();
    clearTimeout(timer);
    if (url) URL.revokeObjectURL(url);
  };
}
export default { render };
"""

_CSS = """
.lt-handles { color: var(--jp-ui-font-color1, #222); font-size: 12px; line-height: 1.4; }
.lt-handles.lt-empty { display: none; }
.lt-frame { overflow: auto; max-height: 64vh; }
.lt-stage { position: relative; overflow: hidden; }
.lt-stage img { width: 100%; height: 100%; display: block; user-select: none; }
.lt-stage svg { position: absolute; inset: 0; width: 100%; height: 100%; pointer-events: none; }
.lt-stage svg, .lt-handle, .lt-hint, .lt-zoom { visibility: hidden; }
.lt-active svg, .lt-active .lt-handle, .lt-active .lt-hint, .lt-active .lt-zoom { visibility: visible; }
.lt-handles:not(.lt-active) .lt-below { display: none; }
.lt-stage svg * { fill: none; vector-effect: non-scaling-stroke; }
.lt-casing { stroke: #000; stroke-width: 3.5; opacity: 0.55; }
.lt-field { stroke: #fff; stroke-width: 1.5; stroke-dasharray: 7 5; }
.lt-line { stroke: #fff; stroke-width: 1.5; }
.lt-handle { position: absolute; width: 44px; height: 44px; margin: -22px 0 0 -22px; padding: 0; border: 0; background: none; cursor: move; touch-action: none; }
.lt-handle:focus, .lt-handle:focus-visible { outline: none !important; z-index: 2; }
.lt-ring { position: absolute; left: 14px; top: 14px; width: 16px; height: 16px; box-sizing: border-box; border: 2px solid #fff; box-shadow: 0 0 0 1.5px #000, inset 0 0 0 1.5px #000; }
.lt-round .lt-ring { border-radius: 50%; }
.lt-letter { position: absolute; left: 13px; top: 13px; width: 18px; height: 18px; line-height: 18px; text-align: center; font: bold 13px/18px sans-serif; color: #fff; background: #111; }
.lt-round .lt-letter { border-radius: 50%; color: #111; background: #fff; box-shadow: 0 0 0 1.5px #111; }
.lt-handle:focus .lt-ring { border-width: 3px; outline: 3px solid #0072B2; outline-offset: 3px; }
.lt-handle:focus .lt-letter { outline: 2px solid #0072B2; }
.lt-loupe { display: none; position: absolute; width: 150px; height: 150px; box-sizing: border-box; border: 2px solid #fff; outline: 2px solid #111; background-color: #111; background-repeat: no-repeat; background-origin: border-box; pointer-events: none; z-index: 3; }
.lt-loupe::before, .lt-loupe::after { content: ""; position: absolute; background: #fff; box-shadow: 0 0 0 1px rgba(0, 0, 0, 0.7); }
.lt-loupe::before { left: 72.5px; top: 0; width: 1px; height: 100%; }
.lt-loupe::after { top: 72.5px; left: 0; height: 1px; width: 100%; }
.lt-below { padding-top: 4px; }
.lt-zoom { margin-right: 8px; min-height: 28px; color: inherit; background: var(--jp-layout-color2, #eee); border: 1px solid var(--jp-border-color1, #999); cursor: pointer; }
.lt-zoom:focus-visible { outline: 2px solid var(--jp-brand-color1, #0072B2); }
.lt-said-position { margin-left: 8px; font-weight: 600; }
"""


_FACE = {
    "A": "low heel: heel end of the lowest full score line",
    "B": "low toe: toe end of the lowest full score line",
    "C": "high toe: toe end of the highest full score line",
    "D": "high heel: heel end of the highest full score line",
    "L": "lower end of the printed line",
    "U": "upper end of the printed line",
}


class PhotoHandles(anywidget.AnyWidget):
    """A picture, and over it handles that a fitter drags, or moves with the arrow keys.

    Attributes
    ----------
    picture : bytes
        A JPEG.
    alt : str
        What it shows, for a screen reader.
    size : list of int
        Width and height of the upright full-size photo; handles are placed in its pixels, whatever the size of
        `picture`.
    corners : list of [x, y]
        Ends of the lowest and highest full-length score line: low heel, low toe, high toe, high heel. Four, or none.
    line : list of [x, y]
        Lower and upper end of the printed line's axis. Two, or none.
    active : bool
        Whether the handles are there. Positions come back when a handle is let go, or a moment after the last key.
    marks : dict of str
        By letter, what each handle is called for a screen reader: those of `corners`, then those of `line`. Said once,
        at the beginning, as the next two.
    hint : str
        What the letters are, for the eye.
    joined : bool
        Whether the four are the corners of one field, or the ends of two lines.
    """

    _esm = _ESM
    _css = _CSS
    picture = traitlets.Bytes(b"").tag(sync=True)
    alt = traitlets.Unicode("").tag(sync=True)
    size = traitlets.List([4, 3]).tag(sync=True)
    corners = traitlets.List([]).tag(sync=True)
    line = traitlets.List([]).tag(sync=True)
    active = traitlets.Bool(False).tag(sync=True)
    marks = traitlets.Dict(_FACE).tag(sync=True)
    hint = traitlets.Unicode(
        "A to D: ends of the lowest and the highest full score line. L, U: ends of the print."
    ).tag(sync=True)
    joined = traitlets.Bool(True).tag(sync=True)

    def __repr__(self):
        return "PhotoHandles()"
