"use strict";
/* Says a message in the language of the page.  `words` has every message of these scripts in it; none where that is
   English, and `thousands` what stands between these in a number.  A place, such as {text}, is filled in once: what stands
   in it is no message. */
function makeSay(words, thousands) {
  const written = (part) => typeof part === "number" ? String(part).replace(/\B(?=(\d{3})+$)/g, () => thousands) : part;
  return (message, parts) => (Object.hasOwn(words, message) ? words[message] : message)
    .replace(/\{(\w+)\}/g, (place, name) => parts && Object.hasOwn(parts, name) ? written(parts[name]) : place);
}
