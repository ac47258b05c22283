// Draws the two pictures from places that the server has worked out.
"use strict";

const SVG = "http://www.w3.org/2000/svg";

function shape(parent, name, attributes, text) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  if (text !== undefined) element.textContent = text;
  parent.append(element);
  return element;
}

const HINGE = [46, 184];
const LONG = 250;

function rim(angle, radius) {
  const turn = angle * Math.PI / 180;
  return [HINGE[0] + radius * Math.cos(turn), HINGE[1] - radius * Math.sin(turn)];
}

// The board from the side: hinged on the left, as long as the scale's radius.
function drawGauge(svg) {
  const [x, y] = HINGE;
  shape(svg, "line", {class: "ground", x1: 30, y1: y + 14, x2: 330, y2: y + 14});
  const [ax, ay] = rim(0, LONG + 16), [bx, by] = rim(45, LONG + 16);
  shape(svg, "path", {class: "scale", d: `M${ax} ${ay}A${LONG + 16} ${LONG + 16} 0 0 0 ${bx} ${by}`});
  for (const angle of [0, 15, 30, 45]) {
    const [x1, y1] = rim(angle, LONG + 11), [x2, y2] = rim(angle, LONG + 21);
    shape(svg, "line", {class: "scale", x1, y1, x2, y2});
    const [tx, ty] = rim(angle, LONG + 27);
    shape(svg, "text", {x: tx, y: ty + 4}, `${angle}°`);
  }
  const board = shape(svg, "g", {id: "tilting", transform: `rotate(0 ${x} ${y})`});
  shape(board, "rect", {class: "wood", x, y: y - 5, width: LONG, height: 10, rx: 3});
  shape(board, "rect", {class: "bag", x: x + 150, y: y - 22, width: 54, height: 17, rx: 7});
  shape(board, "line", {class: "beam", x1: x + 140, y1: y - 30, x2: x + 140, y2: y - 6});
  shape(svg, "circle", {class: "hinge", cx: x, cy: y, r: 8});
}

function tilt(angle) {
  const board = document.getElementById("tilting");
  board.setAttribute("transform", `rotate(${-(angle ?? 0)} ${HINGE[0]} ${HINGE[1]})`);
}

// How fast the board is raised by hand: what is asked for in the middle, rest on the left.
function drawPace(svg, pace) {
  svg.replaceChildren();
  if (!pace.shown) return;
  const across = (share) => 160 + 150 * share;
  shape(svg, "line", {class: "scale", x1: across(-1), x2: across(1), y1: 30, y2: 30});
  shape(svg, "rect", {class: "fits", x: across(-pace.band), y: 22,
    width: 300 * pace.band, height: 16, rx: 8});
  shape(svg, "line", {class: "scale", x1: across(0), x2: across(0), y1: 18, y2: 42});
  const x = across(pace.needle);
  shape(svg, "path", {class: "needle", d: `M${x} 26L${x - 9} 4H${x + 9}Z`});
}

const FIELD = {left: 52, right: 390, top: 10, bottom: 160};

function drawSlides(svg, list, slides) {
  svg.replaceChildren();
  list.replaceChildren();
  const across = (x) => FIELD.left + x * (FIELD.right - FIELD.left);
  const up = (y) => FIELD.bottom - y * (FIELD.bottom - FIELD.top);
  for (const tick of slides.ticks) {
    const y = up(tick.y);
    shape(svg, "line", {class: "grid", x1: FIELD.left, x2: FIELD.right, y1: y, y2: y});
    shape(svg, "text", {x: FIELD.left - 8, y: y + 4, "text-anchor": "end"}, tick.text);
  }
  if (slides.mean !== undefined && slides.mean !== null) {
    const y = up(slides.mean);
    shape(svg, "line", {class: "mean", x1: FIELD.left, x2: FIELD.right, y1: y, y2: y});
  }
  const every = Math.ceil(slides.dots.length / 12);
  slides.dots.forEach((dot, index) => {
    const group = shape(svg, "g", {class: dot.valid ? "one" : "one left-out"});
    shape(group, "title", {}, dot.text);
    const x = across(dot.x);
    if (dot.y === null) {
      const y = FIELD.bottom;
      shape(group, "path", {class: "cross", d: `M${x - 5} ${y - 5}l10 10m0 -10l-10 10`});
    } else {
      const y = up(dot.y), half = dot.bar * (FIELD.bottom - FIELD.top);
      shape(group, "line", {class: "bar", x1: x, x2: x, y1: y - half, y2: y + half});
      shape(group, "circle", {class: "dot", cx: x, cy: y, r: 7});
    }
    if (index % every === 0) {
      shape(svg, "text", {x, y: FIELD.bottom + 22, "text-anchor": "middle"}, dot.number);
    }
    const item = document.createElement("li");
    item.textContent = dot.text;
    list.append(item);
  });
}
