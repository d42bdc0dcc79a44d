"use strict";
// Fills in the code that came with a QR code, behind the # of the address.

const given = location.hash.slice(1);
const code = document.getElementById("code");
if (code && /^[0-9]{8,12}$/.test(given)) {
  code.value = given;
  history.replaceState(null, "", location.pathname + location.search);
}
