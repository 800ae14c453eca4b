/* What is wrong with the text on the page: clipped, overlapping, cut by an ellipsis, off the side. */
() => {
  const found = [];
  const board = document.getElementById("board");
  const high = board.classList.contains("wall") ? window.innerHeight : Infinity;
  const seen = (node) => !node.closest(".sr") && getComputedStyle(node).visibility !== "hidden";
  const walker = document.createTreeWalker(board, NodeFilter.SHOW_TEXT);
  const boxes = [];
  for (let text = walker.nextNode(); text; text = walker.nextNode()) {
    const holder = text.parentElement;
    if (!text.data.trim() || !seen(holder)) { continue; }
    if (text.data.includes("\u2026")) { found.push("ellipsis in: " + text.data); }
    const range = document.createRange();
    range.selectNodeContents(text);
    for (const rect of range.getClientRects()) {
      if (rect.width < 0.5) { continue; }
      // The content area is higher than the letters; the middle 70 % holds them.
      const cut = rect.height * 0.15;
      const box = { l: rect.left, r: rect.right, t: rect.top + cut, b: rect.bottom - cut, text: text.data.trim(), holder };
      boxes.push(box);
      if (box.l < -0.5 || box.r > window.innerWidth + 0.5) { found.push("off the side: " + box.text); }
      if (box.b > high + 0.5) { found.push("below the wall: " + box.text); }
      for (let up = holder; up && up !== document.body; up = up.parentElement) {
        const style = getComputedStyle(up);
        if (style.overflowX === "visible" && style.overflowY === "visible") { continue; }
        const edge = up.getBoundingClientRect();
        if (box.l < edge.left - 1 || box.r > edge.right + 1 || box.t < edge.top - 1 || box.b > edge.bottom + 1) {
          found.push("clipped: " + box.text);
        }
      }
    }
  }
  boxes.sort((one, two) => one.t - two.t);
  boxes.forEach((one, at) => {
    for (let next = at + 1; next < boxes.length && boxes[next].t < one.b - 1; next += 1) {
      const two = boxes[next];
      if (two.l < one.r - 1 && two.r > one.l + 1) { found.push("overlap: " + one.text + " | " + two.text); }
    }
  });
  for (const node of board.querySelectorAll("*")) {
    if (getComputedStyle(node).textOverflow !== "clip") { found.push("text-overflow on ." + node.className); }
  }
  for (const text of board.querySelectorAll(".ch, .cap, .n")) {
    const at = text.getBoundingClientRect(), axis = text.closest(".axis").getBoundingClientRect();
    if (at.right > axis.right + 1) { found.push("past the axis: " + text.textContent); }
  }
  const root = document.documentElement;
  if (root.scrollWidth > window.innerWidth) { found.push("horizontal scroll: " + root.scrollWidth); }
  for (const part of board.querySelectorAll("main section")) {
    const says = part.querySelector(".says");
    if (!part.querySelector("li, .fig svg path, tbody tr, form, p.act") && !(says && says.textContent.trim())) { found.push("empty section: " + part.innerText.slice(0, 40)); }
  }
  return found;
}
