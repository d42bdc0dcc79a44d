"use strict";
// Turns a drag on the photo into the numbers of the form below it, with the shape shown while it is drawn.

(() => {
  const form = document.getElementById("mark-form");
  const box = document.getElementById("mark-here");
  if (!form || !box) return;
  const drawing = box.querySelector("svg");
  const shapes = "http://www.w3.org/2000/svg";
  const preview = document.createElementNS(shapes, "g");
  preview.setAttribute("class", "over");
  drawing.append(preview);
  let from = null;

  const at = (event) => {
    const area = drawing.getBoundingClientRect();
    const share = (value, start, length) => Math.min(100, Math.max(0, ((value - start) / length) * 100));
    return { x: share(event.clientX, area.left, area.width), y: share(event.clientY, area.top, area.height) };
  };

  const show = (to) => {
    const { width, height } = drawing.viewBox.baseVal;
    const [x0, y0, x1, y1] = [from.x * width, from.y * height, to.x * width, to.y * height].map((v) => v / 100);
    const ring = form.elements.shape.value === "ring";
    const shape = document.createElementNS(shapes, ring ? "circle" : "path");
    if (ring) {
      shape.setAttribute("cx", x0);
      shape.setAttribute("cy", y0);
      shape.setAttribute("r", Math.hypot(x1 - x0, y1 - y0));
    } else {
      shape.setAttribute("d", `M${x0} ${y0}L${x1} ${y1}`);
    }
    preview.replaceChildren(shape);
    form.elements.x0.value = from.x.toFixed(2);
    form.elements.y0.value = from.y.toFixed(2);
    form.elements.x1.value = to.x.toFixed(2);
    form.elements.y1.value = to.y.toFixed(2);
  };

  box.addEventListener("pointerdown", (event) => {
    from = at(event);
    box.setPointerCapture(event.pointerId);
    event.preventDefault();
  });
  box.addEventListener("pointermove", (event) => from && show(at(event)));
  box.addEventListener("pointerup", (event) => {
    if (from) show(at(event));
    from = null;
  });
  box.addEventListener("pointercancel", () => {
    from = null;
  });
})();
