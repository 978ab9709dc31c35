// Looks at the page as it is laid out and returns what is wrong with it, in words.
(() => {
  const complaints = [];
  const width = document.documentElement.clientWidth;
  const shown = text => JSON.stringify(text.trim().slice(0, 60));

  // Nothing stands beside the screen; figures may be scrolled in a box of their own.
  if (document.documentElement.scrollWidth > width) {
    complaints.push(`the page is ${document.documentElement.scrollWidth} wide on a screen of ${width}`);
  }
  if (performance.getEntriesByType("resource").length > 0) {
    complaints.push("the page fetches " + performance.getEntriesByType("resource")[0].name);
  }
  for (const link of document.querySelectorAll('a[href^="#"]')) {
    if (!document.getElementById(link.getAttribute("href").slice(1))) complaints.push(`${link.getAttribute("href")} is nowhere`);
  }

  // texts are the pieces of text that can be seen.
  const texts = [];
  const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  for (let node = walk.nextNode(); node; node = walk.nextNode()) {
    const parent = node.parentElement;
    if (node.data.trim() === "" || parent.closest("title, desc") || !parent.checkVisibility()) continue;
    texts.push(node);
  }

  // boxes returns where a part of a text stands, a box a line.
  const boxes = (node, from, to) => {
    const range = document.createRange();
    range.setStart(node, from);
    range.setEnd(node, to);
    return [...range.getClientRects()].filter(b => b.width > 0);
  };

  // No word is torn but one that is longer than any line need be, like a hash.
  for (const node of texts) {
    for (const word of node.data.matchAll(/[\p{Script=Latin}\p{N}_.:]+/gu)) {
      if (word[0].length > 24 || node.parentElement.closest("svg")) continue;
      const lines = boxes(node, word.index, word.index + word[0].length);
      if (lines.some(b => b.top > lines[0].bottom - 1)) complaints.push(`${shown(word[0])} is torn in ${shown(node.data)}`);
    }
  }

  // No text lies on another, nor beside the screen.
  const placed = [];
  for (const node of texts) {
    const inFigure = node.parentElement.closest("figure") !== null;
    for (const b of boxes(node, 0, node.data.length)) {
      if (b.right < 0) continue; // for screen readers only
      if (!inFigure && (b.right > width + 1 || b.left < -1)) complaints.push(`${shown(node.data)} stands beside the screen`);
      placed.push({ node, b });
    }
  }
  placed.sort((x, y) => x.b.top - y.b.top);
  for (let i = 0; i < placed.length; i++) {
    for (let k = i + 1; k < placed.length && placed[k].b.top < placed[i].b.bottom; k++) {
      const x = placed[i], y = placed[k];
      const over = Math.min(x.b.right, y.b.right) - Math.max(x.b.left, y.b.left);
      const deep = Math.min(x.b.bottom, y.b.bottom) - Math.max(x.b.top, y.b.top);
      if (x.node !== y.node && over > 2 && deep > 0.35 * Math.min(x.b.height, y.b.height)) {
        complaints.push(`${shown(x.node.data)} and ${shown(y.node.data)} lie on each other`);
      }
    }
  }
  return complaints.slice(0, 10);
})()
