"use strict";
/* Says a message in the language of the page.  `words` has every message of these scripts in it; none where that is
   English.  A place, such as {text}, is filled in once: what stands in it is no message. */
function makeSay(words) {
  return (message, parts) => (Object.hasOwn(words, message) ? words[message] : message)
    .replace(/\{(\w+)\}/g, (place, name) => parts && Object.hasOwn(parts, name) ? parts[name] : place);
}
