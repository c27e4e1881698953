# Run by cpack over the staged files: what Debian's policy wants of a package beyond plain installation.
set(root ${CPACK_TEMPORARY_DIRECTORY})
file(GLOB below ${root}/usr)
if(NOT below)
  message(FATAL_ERROR "nothing is staged in ${root}")
endif()
set(doc ${root}/usr/share/doc/rillward)
file(COPY_FILE ${CPACK_RILLWARD_PACKAGE_FOLDER}/copyright ${doc}/copyright)
file(COPY_FILE ${CPACK_RILLWARD_PACKAGE_FOLDER}/changelog ${doc}/changelog.Debian)
file(GLOB pages ${root}/usr/share/man/man*/*)
execute_process(COMMAND gzip -9n ${doc}/changelog.Debian ${pages} COMMAND_ERROR_IS_FATAL ANY)
# Times of files: one for all, that of the package.
execute_process(COMMAND find ${root} -exec touch -h -d @$ENV{SOURCE_DATE_EPOCH} {} + COMMAND_ERROR_IS_FATAL ANY)
execute_process(COMMAND chmod -R u=rwX,go=rX ${root}/usr COMMAND_ERROR_IS_FATAL ANY)
