// Pairs of marks that come too near on the engraved page that the document holds; see glyph_boxes.py.
globalThis.touching = (clear) => {
  const MARKS = ["fing", "dir", "tempo", "mNum", "artic"];
  const OTHERS = ["stem", "notehead", "accid", "keyAccid", "clef", "barLine", "flag", "dots"];
  const pen = document.createElement("canvas").getContext("2d");

  const inkOfText = (text) => {
    const size = text.querySelector("tspan[font-size]:not(:has(tspan))") ?? text;
    const style = getComputedStyle(size);
    pen.font = `${style.fontStyle} ${style.fontWeight} ${style.fontSize} ${style.fontFamily}`;
    const words = text.textContent.trim();
    const start = text.getStartPositionOfChar(0);
    const measured = pen.measureText(words);
    const matrix = text.getScreenCTM();
    const at = (x, y) => new DOMPoint(x, y).matrixTransform(matrix);
    const low = at(start.x - measured.actualBoundingBoxLeft, start.y + measured.actualBoundingBoxDescent);
    const high = at(start.x + measured.actualBoundingBoxRight, start.y - measured.actualBoundingBoxAscent);
    return { left: low.x, right: high.x, top: high.y, bottom: low.y };
  };

  // The box of a path is that of its line, without its width.
  const inkOfShape = (shape) => {
    const { left, right, top, bottom } = shape.getBoundingClientRect();
    const wide = (Number(shape.getAttribute("stroke-width")) * shape.getScreenCTM().a) / 2;
    return { left: left - wide, right: right + wide, top: top - wide, bottom: bottom + wide };
  };

  const inkOf = (group) => {
    const text = group.querySelector("text");
    if (text) return inkOfText(text);
    const boxes = [...group.querySelectorAll("use, path, rect, ellipse, polygon")].map(inkOfShape);
    if (!boxes.length) return null;
    return {
      left: Math.min(...boxes.map((box) => box.left)),
      right: Math.max(...boxes.map((box) => box.right)),
      top: Math.min(...boxes.map((box) => box.top)),
      bottom: Math.max(...boxes.map((box) => box.bottom)),
    };
  };

  const kindOf = (group) => (group.getAttribute("class") ?? "").split(" ")
    .find((word) => MARKS.includes(word) || OTHERS.includes(word));
  const drawn = [...document.querySelectorAll("svg g[class]")]
    .map((group) => ({ kind: kindOf(group), group }))
    .filter(({ kind }) => kind)
    .map(({ kind, group }) => ({
      kind,
      name: `${kind} ${group.querySelector("text")?.textContent.trim() ?? ""}`.trim(),
      box: inkOf(group),
    }))
    .filter(({ box }) => box);

  const staff = document.querySelector("svg g.staff");
  const lines = [...staff.querySelectorAll(":scope > path")].map((line) => line.getBoundingClientRect().top);
  const apart = clear * (lines[1] - lines[0]);
  const meet = (a, b) =>
    Math.min(a.right, b.right) - Math.max(a.left, b.left) > -apart &&
    Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > -apart;
  const page = document.querySelector("svg").getBoundingClientRect();

  const found = [];
  drawn.forEach((one, place) => {
    if (!MARKS.includes(one.kind)) return;
    if (one.box.left < page.left || one.box.right > page.right || one.box.top < page.top || one.box.bottom > page.bottom) {
      found.push([one.name, "the page's edge"]);
    }
    drawn.forEach((other, otherPlace) => {
      if (place === otherPlace || (MARKS.includes(other.kind) && otherPlace < place)) return;
      if (meet(one.box, other.box)) found.push([one.name, other.name]);
    });
  });
  return found;
};
