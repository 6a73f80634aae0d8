// Requests to the server, from the room that all screens share.

export { Refused, ask, send } from "../lib/sending.js";
