/** The words that rows are told with. */
import { decimal, said, t, unit } from "../words.js";

export const say = { t, said, decimal, unit };
