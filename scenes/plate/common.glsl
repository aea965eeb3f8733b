// The projection, shared by all parts; pixels are the plate's, counted from its top left corner.
uniform mat4 clip_from_table;
uniform mat3 ray_from_pixel;
uniform vec3 eye_mm;
uniform vec2 half_bed_mm;
