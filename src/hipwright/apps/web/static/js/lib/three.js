// The scene library, from where the server keeps it. Its types are in three.d.ts beside this.

export * from "../../vendor/three.module.js";
