// What a window shows of its text wrongly: a box too small for it (one that scrolls is no fault), a word on two lines.

export const textFaults = () => {
  const found = [];
  const shown = (one) => {
    const { width, height } = one.getBoundingClientRect();
    return (
      width > 1 &&
      height > 1 &&
      getComputedStyle(one).visibility !== "hidden" &&
      !one.closest(".unseen, .skip, details:not([open]) > :not(summary)")
    );
  };
  const name = (one, text) => `${one.tagName}.${one.className?.baseVal ?? one.className} "${text}"`;
  const range = document.createRange();
  const pen = document.createElement("canvas").getContext("2d");
  const ARROW = 20; // of a list's own mark, as Chromium draws it
  for (const one of document.querySelectorAll("body *")) {
    if (!shown(one) || one.tagName === "OPTION" || one.tagName === "NOSCRIPT") continue;
    const own = [...one.childNodes].filter((node) => node.nodeType === 3 && node.textContent.trim());
    if (one.matches("input:not([type=radio], [type=checkbox], [type=file])")) {
      const over = one.scrollWidth - one.clientWidth;
      if (over > 1) found.push(`${over} px cut off: ${name(one, one.value || one.placeholder)}`);
    }
    if (one.tagName === "SELECT") {
      const style = getComputedStyle(one);
      pen.font = style.font;
      const text = one.selectedOptions[0]?.text ?? "";
      const room = one.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight) - ARROW;
      const over = Math.round(pen.measureText(text).width - room);
      if (over > 1) found.push(`${over} px cut off: ${name(one, text)}`);
    }
    if (!own.length || one.ownerSVGElement) continue;
    const style = getComputedStyle(one);
    if (style.display !== "inline") {
      const wide = style.overflowX === "auto" || style.overflowX === "scroll";
      const high = style.overflowY === "auto" || style.overflowY === "scroll";
      const over = [wide ? 0 : one.scrollWidth - one.clientWidth, high ? 0 : one.scrollHeight - one.clientHeight];
      // Letters reach a little over a tight line; a box that hides nothing shows them all the same.
      const spare = style.overflowY === "visible" ? 8 : 1;
      if (over[0] > 1 || over[1] > spare) found.push(`${over} px over: ${name(one, one.textContent.slice(0, 40))}`);
    }
    for (const node of own) {
      for (const word of node.textContent.matchAll(/[^\s\-\u2010-\u2014/]+/g)) {
        range.setStart(node, word.index);
        range.setEnd(node, word.index + word[0].length);
        const lines = new Set([...range.getClientRects()].map(({ top }) => Math.round(top)));
        if (lines.size > 1) found.push(`broken: ${name(one, word[0])}`);
      }
    }
  }
  const over = document.documentElement.scrollWidth - innerWidth;
  return over > 0 ? [...found, `${over} px wider than the window`] : found;
};
